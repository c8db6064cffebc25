"""Terms and abbreviations of a report: those that stand in it, each with what it means."""

from __future__ import annotations

import re
from collections.abc import Iterable

from experiments.report.document import (
    Block,
    Bullets,
    Column,
    Facts,
    Figure,
    Notice,
    Paragraph,
    Section,
    Signature,
    Table,
    rows_of,
)

TERMS = {
    "95 % interval": "the range that holds the value with a probability of 95 %, given the model "
    "and the results",
    "activity": "how much more or less volatile a substance is in a mixture than its share says",
    "assurance": "the probability asked for that every target is met and the run ends in time",
    "CAS": "registry number of the Chemical Abstracts Service",
    "DIPPR": "Design Institute for Physical Properties; Perry's Handbook prints its correlations",
    "end pressure": "absolute pressure at which a run goes on after the ramp",
    "Gaussian process": "a statistical description of what the run model leaves unexplained",
    "IAPWS": "International Association for the Properties of Water and Steam",
    "ICH Q14": "guideline of the International Council for Harmonisation on analytical procedure "
    "development",
    "IEC 60079-20-1": "flammability data of the International Electrotechnical Commission",
    "keeper": "a high-boiling liquid added so that a vessel never falls quite dry",
    "leave-one-out": "each trial forecast from all the others and then compared",
    "NFPA 497": "flammability data of the National Fire Protection Association",
    "NIST": "National Institute of Standards and Technology",
    "operating region": "all settings whose probability is at least the assurance",
    "proven acceptable range": "range of one factor while the others stay at the set point",
    "ramp rate": "how fast the pressure falls, linear in time, down to the end pressure",
    "RSD": "relative standard deviation",
    "seed": "number that starts the random draws, so that they repeat",
    "set point": "the setting this report recommends, or the best found",
    "SHA-256": "a check sum; it changes when a single letter does",
    "spike": "known amount of an analyte added to a vessel; recoveries are in percent of it",
    "sub-cooled liquid": "the liquid below its melting point, which a dissolved solid resembles",
    "tempered sequential Monte Carlo": "a way to draw parameters that agree with the results, "
    "starting from what was assumed",
    "true mean": "mean over very many runs and all vessels",
    "UNIFAC": "a published method for activity from groups of atoms",
    "UTC": "coordinated universal time",
    "VDI": "Verein Deutscher Ingenieure, publisher of the VDI Heat Atlas",
    "volatility": "tendency to leave with the vapour: activity times vapour pressure",
}


def terms(sections: Iterable[Section]) -> Section:
    """The terms that stand in these sections, in alphabetical order."""
    text = "\n".join(words for s in sections for b in s.blocks for words in _words(b))
    rows = [[term, meaning] for term, meaning in sorted(TERMS.items(), key=_place)
            if re.search(rf"(?<!\w){re.escape(term)}s?(?!\w)", text, _case(term))]
    return Section("terms", "Terms and abbreviations", (Table(
        "Terms and abbreviations as this report uses them",
        (Column("term", weight=1), Column("meaning", weight=3)), rows_of(rows), size="small"),))


def _place(item: tuple[str, str]) -> str:
    return item[0].casefold()


def _case(term: str) -> re.RegexFlag:
    """An abbreviation must stand as it is, a word may begin a sentence."""
    return re.NOFLAG if term.isupper() or any(c.isdigit() for c in term) else re.IGNORECASE


def _words(block: Block) -> tuple[str, ...]:
    """Every text of a block."""
    match block:
        case Paragraph():
            return (block.text,)
        case Bullets():
            return block.items
        case Facts():
            return tuple(words for row in block.rows for words in row)
        case Table():
            heads = tuple(c.title for c in block.columns)
            cells = tuple(c.text for row in block.rows for c in row)
            return (block.title, *heads, *cells, block.note)
        case Figure():
            return (block.title,)
        case Notice():
            return (block.title, block.text)
        case Signature():
            return (block.role, block.meaning)
        case _:
            return ()
