"""The use-cases of instrument logs: look at one, attach it to a trial, take its run time, remove.

Nothing of a log counts before it is attached, and its run time not before it is confirmed. The
columns somebody confirmed are remembered: in the record of the dossier, and for that person's
other dossiers beside the forms not yet confirmed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from experiments import drafts
from experiments.attached_log import log_payload, marks_of
from experiments.dossier import Dossier
from experiments.entries import EntryError, checked_reason
from experiments.log_columns import ColumnChoice, Proposal, checked, proposed
from experiments.log_file import LogTable
from experiments.log_reading import InstrumentLog, read_log
from experiments.service import Session, change
from experiments.trials import Trial, is_same_time
from models.run_log import LogMarks

MEMORY: Final = "log-columns"
REMEMBERED: Final = 12
"""Layouts of logs that are remembered for a person."""


@dataclass(frozen=True, eq=False)
class LookedAt:
    """A log that is not attached yet: its readings and moments."""

    log: InstrumentLog
    marks: LogMarks


def propose_columns(session: Session, dossier: Dossier, table: LogTable) -> Proposal:
    """The columns confirmed before for such a log, else what its headers suggest."""
    known = _remembered(session, dossier, table)
    if known is not None:
        return Proposal(known, is_known=True)
    return proposed(table.headers, table.first())


def look(
    dossier: Dossier, trial_id: str, table: LogTable, choices: Mapping[str, Any],
    lid_closed_min: float = 0.0,
) -> LookedAt:
    """A log as it would be attached; nothing is saved.

    Raises
    ------
    EntryError
        for what cannot be read, and for a moment of lid-close outside the log
    """
    trial = _trial(dossier, trial_id)
    log = read_log(table, choices)
    last = float(log.columns["time"][-1])
    if not math.isfinite(lid_closed_min) or not 0.0 <= lid_closed_min < last:
        raise EntryError(f"Lid-close at {lid_closed_min:g} min is outside the log.",
                         f"Give minutes from its first row, 0 to {last:.1f}.")
    return LookedAt(log, marks_of(dossier.job, trial.setting, log, lid_closed_min))


def attach(  # noqa: PLR0913 - what a log is
    session: Session, dossier_id: str, trial_id: str, table: LogTable, file_name: str,
    choices: Mapping[str, Any], lid_closed_min: float = 0.0, revision: int | None = None,
) -> tuple[Dossier, LookedAt]:
    """Attach a log to a trial; a later one of the same trial takes the place of an earlier."""
    def act(dossier: Dossier) -> LookedAt:
        looked = look(dossier, trial_id, table, choices, lid_closed_min)
        dossier.note_event("trace attached", log_payload(
            trial_id, looked.log, looked.marks, file_name, table.sha256, lid_closed_min))
        return looked

    dossier, looked = change(session, dossier_id, act, revision)
    _remember(session, looked)
    return dossier, looked


def remove(session: Session, dossier_id: str, trial_id: str, reason: str) -> Dossier:
    """Let a log no longer count, with a reason; it stays in the record."""
    def act(dossier: Dossier) -> None:
        if trial_id not in dossier.details.traces:
            raise EntryError(f"Trial {trial_id[:40]} has no log.", "Nothing to do.")
        dossier.note_event("trace removed",
                           {"trial": trial_id, "reason": checked_reason(reason)})

    return change(session, dossier_id, act)[0]


def take_run_time(session: Session, dossier_id: str, trial_id: str) -> Dossier:
    """Take the run time of a trial from its log: as its result, or as a correction that says so.

    Raises
    ------
    EntryError
        when the trial has no log, or the log tells no run time
    """
    def act(dossier: Dossier) -> None:
        minutes = suggested_run_time(dossier, trial_id)
        if minutes is None:
            raise EntryError(f"The log of {trial_id[:40]} tells no run time.",
                             "Enter the run time that was noted.")
        result = dossier.trial(trial_id).result
        if result is None:
            dossier.record(trial_id, run_time_min=minutes)
        elif result.run_time_min is None or not is_same_time(
            result.run_time_min, minutes
        ):
            name = dossier.details.traces[trial_id]["file"]
            dossier.correct(trial_id, f"Run time read from the log {name}.", run_time_min=minutes)

    return change(session, dossier_id, act)[0]


def suggested_run_time(dossier: Dossier, trial_id: str) -> float | None:
    """The run time (min) that the log attached to a trial tells; None when there is none."""
    held = dossier.details.traces.get(trial_id)
    minutes = None if held is None else held["moments"]["run_time"]["min"]
    return None if minutes is None else round(float(minutes), 2)


def _trial(dossier: Dossier, trial_id: str) -> Trial:
    trial = dossier.trial(trial_id)
    if trial.state == "withdrawn":
        raise EntryError(f"Trial {trial_id} was withdrawn.",
                         "Attach the log to the trial that was run.")
    return trial


def _remembered(
    session: Session, dossier: Dossier, table: LogTable
) -> dict[str, ColumnChoice] | None:
    """The last columns confirmed that are all in this log."""
    own = [p["columns"] for p in list(dossier.details.traces.values())[::-1]]
    for columns in (*own, *_memory(session)):
        try:
            return checked({q: ColumnChoice(*c) for q, c in columns.items()}, table.headers)
        except (EntryError, TypeError, ValueError, AttributeError):
            continue  # the layout of another logger
    return None


def _memory(session: Session) -> list[dict[str, Any]]:
    held = next((d.content for d in drafts.drafts(session) if d.name == MEMORY), {})
    layouts = held.get("layouts", [])
    return list(layouts) if isinstance(layouts, list) else []


def _remember(session: Session, looked: LookedAt) -> None:
    layout = {q: list(c) for q, c in looked.log.choices.items()}
    others = [x for x in _memory(session) if x != layout]
    drafts.keep_draft(session, MEMORY, {"layouts": [layout, *others][:REMEMBERED]})
