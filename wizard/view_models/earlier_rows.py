"""Earlier dossiers that a new job may start from. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.job import EvaporationJob
from experiments.storage.protocol import Summary
from experiments.wording import counted

NONE = ""
"""Stands for "no earlier dossier"."""


def earlier_choices(summaries: Sequence[Summary], job: EvaporationJob) -> dict[str, str]:
    """Ids of dossiers with trials on the same evaporator or analytes, with their words."""
    found = {NONE: "no, start from physics alone"}
    names = {a.name for a in job.analytes}
    for summary in summaries:
        shared = sorted(names & set(summary.facts.get("analytes", ())))
        same = summary.facts.get("equipment") == job.equipment.name
        if summary.trials and (same or shared):
            found[summary.id] = f"{summary.title} ({_why(same, shared)})"
    return found


def _why(same: bool, shared: Sequence[str]) -> str:
    parts = ["same evaporator"] if same else []
    parts += [f"{counted(len(shared), 'analyte')} in common"] if shared else []
    return ", ".join(parts)
