"""Which column of an instrument's log holds what, and in which unit: proposed, then confirmed.

A proposal is made from the headers and the first cells; what they do not settle stays open and
is asked. Nothing is read until every column chosen has its unit.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from experiments.entries import EntryError
from experiments.log_moments import STAMPS, stamp_of
from models.quantities import PA_PER_UNIT, TEMPERATURE_OFFSET

QUANTITIES: Final = ("time", "pressure", "wall_temperature", "coolant_in", "coolant_out")
NAMES: Final = {
    "time": "time", "pressure": "chamber pressure", "wall_temperature": "wall temperature",
    "coolant_in": "coolant in", "coolant_out": "coolant out",
}
NEEDED: Final = ("time", "pressure")
MINUTES: Final = {"s": 1.0 / 60.0, "min": 1.0, "h": 60.0}
UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "time": (*MINUTES, *STAMPS), "pressure": tuple(PA_PER_UNIT),
    **dict.fromkeys(("wall_temperature", "coolant_in", "coolant_out"), tuple(TEMPERATURE_OFFSET)),
}
SPELLINGS: Final = {
    "sec": "s", "secs": "s", "seconds": "s", "second": "s", "minutes": "min", "minute": "min",
    "mins": "min", "hours": "h", "hour": "h", "hrs": "h", "mbara": "mbar", "mbar abs": "mbar",
    "millibar": "mbar", "mmhg": "Torr", "degc": "°C", "deg c": "°C", "c": "°C", "ºc": "°C",
    "℃": "°C", "celsius": "°C", "kelvin": "K",
}
WORDS: Final = {
    "time": r"time|elapsed|stamp|date|clock|zeit|datum|temps|heure|tiempo|hora|^t$",
    "pressure": r"press|vac|druck|pression|presi|^p\b|^p_",
    "wall_temperature": r"wall|heat|jacket|block|set ?temp|set_temp|rotor|plate|wand|heiz|paroi",
    "coolant_in": r"(cool|cond|chill|kühl|kond).*(\bin\b|inlet|supply|vorlauf|_in\b|\bein)"
                  r"|vorlauf|\binlet|^t_?in\b",
    "coolant_out": r"(cool|cond|chill|kühl|kond).*(\bout\b|outlet|return|rück|_out\b|\baus)"
                   r"|rücklauf|\boutlet|^t_?out\b",
}


class ColumnChoice(NamedTuple):
    """A column of a log by its header, and its unit; "" while nobody has said it."""

    column: str
    unit: str


Choices = Mapping[str, ColumnChoice]


@dataclass(frozen=True)
class Proposal:
    """Columns that seem to hold the quantities; ``is_known`` when somebody confirmed them once."""

    choices: Choices
    is_known: bool = False

    @property
    def is_whole(self) -> bool:
        """Whether time and pressure are there, and every unit."""
        return all(q in self.choices for q in NEEDED) and all(
            c.unit for c in self.choices.values())


def proposed(headers: Sequence[str], cells: Mapping[str, Sequence[str]]) -> Proposal:
    """What the headers and the first cells of each column suggest."""
    left, found = list(headers), {}
    for quantity in ("coolant_in", "coolant_out", "wall_temperature", "pressure", "time"):
        fits = [h for h in left if re.search(WORDS[quantity], bare(h), re.IGNORECASE)
                and not (quantity == "time" and _is_day_only(cells.get(h, ())))]
        if fits:
            left.remove(fits[0])
            unit = unit_in(fits[0], quantity)
            if quantity == "time":
                unit = stamp_of(cells.get(fits[0], ())) or unit
            found[quantity] = ColumnChoice(fits[0], unit)
    return Proposal({q: found[q] for q in QUANTITIES if q in found})


def bare(header: str) -> str:
    """A header without what stands in brackets after it.

    >>> bare("Chamber pressure [mbar]"), bare("T_out (degC)")
    ('Chamber pressure', 'T_out')
    """
    return re.sub(r"\s*[\[(].*$", "", header).strip()


def unit_in(header: str, quantity: str) -> str:
    """The unit that a header names; "" when it names none that fits.

    >>> unit_in("Chamber pressure [mbar]", "pressure"), unit_in("wall, degC", "coolant_in")
    ('mbar', '°C')
    >>> unit_in("pressure_hpa", "pressure"), unit_in("pressure", "pressure")
    ('hPa', '')
    """
    words = re.findall(r"[\[(]\s*([^\])]+?)\s*[\])]", header)
    words += re.split(r"[\s_/,;]+", re.sub(r"[\[(].*$", "", header).strip())[1:][::-1]
    known = {u.casefold(): u for u in UNITS[quantity] if u not in STAMPS}
    for word in words:
        unit = SPELLINGS.get(word.casefold(), word)
        if unit.casefold() in known:
            return known[unit.casefold()]
    return ""


def _is_day_only(cells: Sequence[str]) -> bool:
    """Whether a column holds dates without a time of day."""
    return bool(stamp_of(cells)) and not any(":" in c for c in cells)


def checked(choices: Mapping[str, Any], headers: Sequence[str]) -> dict[str, ColumnChoice]:
    """Choices of a user or a record, each known and whole.

    Raises
    ------
    EntryError
        naming the first that is not
    """
    made: dict[str, ColumnChoice] = {}
    for quantity in QUANTITIES:
        if quantity not in choices:
            if quantity in NEEDED:
                raise EntryError(f"No column is named for the {NAMES[quantity]}.",
                                 f"Name one of: {', '.join(headers)[:300]}.")
            continue
        column, unit = choices[quantity]
        if column not in headers:
            raise EntryError(f"The log has no column {column[:60]!r} ({NAMES[quantity]}).",
                             f"Name one of: {', '.join(headers)[:300]}.")
        if unit not in UNITS[quantity]:
            said = f"is given in {unit[:20]!r}" if unit else "has no unit yet"
            raise EntryError(f"The column {column[:60]!r} ({NAMES[quantity]}) {said}.",
                             f"Say which: {', '.join(UNITS[quantity])}.")
        if any(c.column == column for c in made.values()):
            raise EntryError(f"The column {column[:60]!r} is named twice.",
                             "Name each column for one quantity.")
        made[quantity] = ColumnChoice(column, unit)
    unknown = sorted(set(choices) - set(QUANTITIES))
    if unknown:
        raise EntryError(f"{unknown[0][:40]!r} is nothing that a log can hold here.",
                         f"Use {', '.join(QUANTITIES)}.")
    return made
