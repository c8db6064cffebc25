"""Methods by solvent, analyte, keeper and evaporator. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from experiments.storage.protocol import Summary
from wizard.units import Units
from wizard.view_models.dossier_list import moment, state_words
from wizard.view_models.settings_text import setting_text

KINDS = {"solvents": "Solvent", "analytes": "Analyte", "keeper": "Keeper",
         "equipment": "Evaporator"}
"""What methods are found by: the fact of a dossier, and its name on the page."""


def choices(summaries: Sequence[Summary]) -> dict[str, list[str]]:
    """For each kind everything that occurs in some dossier, in alphabetical order."""
    return {
        kind: sorted({v for s in summaries for v in _values(s, kind)}, key=str.casefold)
        for kind in KINDS
    }


def found(summaries: Sequence[Summary], wanted: Mapping[str, Iterable[str]]) -> list[Summary]:
    """Dossiers that hold every wanted value; methods with a setting first."""
    held = [
        s for s in summaries
        if all(v in _values(s, kind) for kind, values in wanted.items() for v in values)
    ]
    return sorted(held, key=lambda s: not s.facts.get("setting"))


def _values(summary: Summary, kind: str) -> list[str]:
    value = summary.facts.get(kind) or []
    return [value] if isinstance(value, str) else list(value)


def method_line(summary: Summary, units: Units) -> str:
    """A method on one line: its setting and run time, or how far it is."""
    facts = summary.facts
    state = state_words(summary)
    if not facts.get("setting"):
        return f"{state}; no setting yet"
    minutes = facts.get("run_time_min")
    time = f" · {minutes:.0f} min" if minutes else ""
    return f"{setting_text(facts['setting'], units)}{time} · {state}"


def sample_line(summary: Summary) -> str:
    """What is evaporated, in what; when it was changed, and its id."""
    keeper = ", ".join(_values(summary, "keeper"))
    parts = [", ".join(_values(summary, "solvents")), f"keeper {keeper}" if keeper else "",
             ", ".join(_values(summary, "equipment")), ", ".join(_values(summary, "analytes")),
             f"changed {moment(summary.updated)}", summary.id]
    return " · ".join(p for p in parts if p)
