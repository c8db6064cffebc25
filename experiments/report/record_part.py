"""Sections on the record: versions, seed, hashes, history, how to recompute, signatures."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Sequence
from importlib.metadata import version

from experiments.corrections import who_entered
from experiments.events import canonical, verify_chain
from experiments.job_differences import carried_results_words
from experiments.job_text import to_mapping
from experiments.report.digits import NONE, plain
from experiments.report.document import (
    Block,
    Cell,
    Column,
    Facts,
    Paragraph,
    Section,
    Signature,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.records import event_words

EXPORT_NAME, DATA_NAME = "dossier.zip", "report.json"
DEPENDS_ON = ("boilwright", "numpy", "scipy", "numba", "scikit-learn", "chemicals", "thermo",
              "CoolProp")


def software_versions() -> dict[str, str]:
    """Versions that the numbers depend on."""
    found = {name: version(name) for name in DEPENDS_ON}
    return {"python": ".".join(map(str, sys.version_info[:3])), **found}


def record(g: Gathered) -> Section:
    """What makes the report repeatable, and everything that happened, in order."""
    dossier = g.dossier
    check = verify_chain(dossier.events)
    state = "holds" if check.holds else f"is broken at record {check.first_broken}"
    job_hash = hashlib.sha256(canonical(to_mapping(dossier.job)).encode()).hexdigest()
    versions = ", ".join(f"{k} {v}" for k, v in software_versions().items())
    facts = [
        ("dossier", f"{dossier.id}, version {dossier.version}, state {dossier.state}"),
        ("seed", str(dossier.job.seed)),
        ("software", versions),
        ("job, SHA-256", job_hash),
        ("last record, SHA-256", dossier.events[-1].hash),
        ("chain of records", f"{len(dossier.events)} records, the chain {state}"),
    ]
    if dossier.details.previous is not None:
        facts.insert(1, ("previous version", f"dossier {dossier.details.previous}"))
    blocks: list[Block] = [
        Facts(tuple(facts)),
        *_against_previous(g),
        Paragraph(
            f"The whole record is attached to the PDF as {EXPORT_NAME}, the numbers of this "
            f"report as {DATA_NAME}. To compute the recommendation again and compare it with "
            "this report: boilwright recompute, with this file, or with an exported dossier and "
            "this file. The same job, records, seed and versions give the same answer."
        ),
        Table(
            "History",
            (Column("record", "right"), Column("when (UTC)"), Column("who"),
             Column("what", weight=4), Column("hash")),
            rows_of([
                [Cell(str(e.seq), e.seq, strong=True), e.at[:19].replace("T", " "), e.who,
                 event_words(dossier, e), e.hash[:10]] for e in dossier.events
            ]), size="small",
        ),
    ]
    return Section("record", "Version, record and history", tuple(blocks))


def _against_previous(g: Gathered) -> list[Block]:
    """What this version changed, value by value; empty for a first version."""
    start = g.dossier.events[0].payload
    if g.dossier.details.previous is None:
        return []
    rows = [[str(c["path"]), _shown(c["before"]), _shown(c["after"])]
            for c in start.get("changes", ())]
    carried = carried_results_words(start)
    if not rows:
        return [Paragraph(f"The job is that of the previous version. {carried}")]
    return [Table(
        "What this version changed in the job",
        (Column("value", weight=2), Column("before", weight=1), Column("now", weight=1)),
        rows_of(rows), note=carried,
    )]


def _shown(held: object) -> str:
    if held is None:
        return NONE
    return plain(held) if isinstance(held, int | float) else str(held)


def _alone(entered: Sequence[str], approver: str) -> str:
    """What a reader must know where one person did both."""
    return (f" Here {approver} both entered results and approved the method: somebody else must "
            "review it." if approver in entered else "")


def signatures(g: Gathered) -> Section:
    """Lines for author and a different reviewer, and for approval."""
    entered = who_entered(g.dossier.events)
    authors = " / ".join(entered)
    approved = [m for m in g.dossier.details.moves if m.get("to") == "approved"]
    who = str(approved[-1]["who"]) if approved else ""
    return Section("signatures", "Signatures", (
        Paragraph("Author and reviewer are different persons; a signature says that its bearer "
                  "has read the whole report." + _alone(entered, who)),
        Signature("Author", authors, "planned the trials and entered the results"),
        Signature("Reviewer", "", "followed the numbers back to the records"),
        Signature("Approved", who, "releases the method for use"),
    ))
