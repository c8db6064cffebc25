"""The list of dossiers as the screen shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from experiments.storage.protocol import Draft, Summary
from experiments.wording import counted, listed

STATE_WORDS = {
    "draft": "job written, nothing run yet", "running": "trials under way",
    "recommended": "setting recommended", "verified": "verified", "approved": "approved",
    "retired": "retired",
}
JOB_DRAFT = "job:new:"


def state_words(summary: Summary) -> str:
    """How far a dossier is, and whether verification runs spoke against its setting."""
    words = STATE_WORDS.get(summary.state, summary.state)
    return f"{words}, verification not passed" if summary.facts.get("is_refuted") else words


@dataclass(frozen=True)
class DossierLine:
    """One dossier: its title and a line of facts."""

    id: str
    title: str
    facts: str


def dossier_lines(summaries: Sequence[Summary], wanted: str = "") -> list[DossierLine]:
    """Dossiers that hold every word of ``wanted`` anywhere in their line, last changed first."""
    lines = [DossierLine(s.id, s.title, _facts(s)) for s in summaries]
    words = wanted.casefold().split()
    searched = zip(lines, summaries, strict=True)
    return [
        line for line, summary in searched
        if all(w in _everything(summary, line) for w in words)
    ]


def _everything(summary: Summary, line: DossierLine) -> str:
    names = [*summary.facts.get("solvents", ()), *summary.facts.get("analytes", ()),
             str(summary.facts.get("equipment", ""))]
    return " ".join([line.id, line.title, line.facts, *names]).casefold()


def _facts(summary: Summary) -> str:
    facts = summary.facts
    analytes = list(facts.get("analytes", ()))
    parts = [
        state_words(summary),
        listed(list(facts.get("solvents", ())), 3),
        f"keeper {facts['keeper']}" if facts.get("keeper") else "",
        counted(len(analytes), "analyte") if analytes else "",
        counted(summary.trials, "trial"),
        f"changed {moment(summary.updated)}",
    ]
    return " · ".join(p for p in parts if p)


def moment(at: str) -> str:
    """A time of the record, short and in the reader's zone."""
    try:
        when = datetime.fromisoformat(at)
    except ValueError:
        return at
    here = when.astimezone() if when.tzinfo else when.replace(tzinfo=UTC).astimezone()
    return f"{here:%d %b %Y, %H:%M}"


@dataclass(frozen=True)
class DraftLine:
    """An unfinished new job."""

    id: str
    title: str
    saved: str


def draft_lines(drafts: Sequence[Draft]) -> list[DraftLine]:
    """New jobs that were begun and not finished."""
    return [
        DraftLine(d.name.removeprefix(JOB_DRAFT), str(d.content.get("title") or "Untitled job"),
                  moment(d.at))
        for d in drafts if d.name.startswith(JOB_DRAFT)
    ]
