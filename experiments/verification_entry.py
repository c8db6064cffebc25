"""Verification in the record: plan it, take the filled bench sheet, decide.

The plan with its criteria is written into the record before the first run, so a reader can
see that nothing was moved afterwards.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Unpack

from experiments.acceptance import Criteria
from experiments.corrections import Amendment, amended
from experiments.dossier import Dossier
from experiments.entries import EntryError, check_result, checked_reason
from experiments.job import Setting
from experiments.results_table import ReadTable, RejectedRow, read_table
from experiments.service import Session, change
from experiments.trials import Trial
from experiments.verification import Verification, setting_to_verify, verify
from experiments.verification_plan import VerificationPlan, plan, plan_payload
from experiments.verification_runs import VerificationRun, planned, recorded_runs, run_payload
from experiments.verification_trials import taken_over
from experiments.wording import counted, is_or_are, listed

BACK = "Go back to trials first, on the page Report or by `boilwright move`."


def plan_verification(
    session: Session, dossier_id: str, criteria: Criteria | None = None,
    setting: Setting | None = None, revision: int | None = None,
) -> tuple[Dossier, VerificationPlan]:
    """Write a verification plan into the record.

    Parameters
    ----------
    criteria : None for the job's own targets and the fewest runs with a good chance
    setting : None for the recommended one
    """
    return change(session, dossier_id, lambda d: note_plan(d, criteria, setting), revision)


def record_verification(
    session: Session, dossier_id: str, data: bytes | str, revision: int | None = None
) -> tuple[Dossier, ReadTable, list[str]]:
    """Record a filled table of verification runs, whole or not at all; gives their ids."""

    def act(dossier: Dossier) -> tuple[ReadTable, list[str]]:
        made = planned(dossier) or note_plan(dossier)
        table = read_runs_table(dossier, made, data)
        return table, note_runs(dossier, made, table)

    dossier, (table, ids) = change(session, dossier_id, act, revision)
    return dossier, table, ids


def correct_run(
    session: Session, dossier_id: str, run_id: str, reason: str, **values: Unpack[Amendment]
) -> Dossier:
    """Correct a run of the last plan by a new entry that says why; it keeps its place.

    A trial that was taken over from the run is corrected with it.

    Raises
    ------
    EntryError
        for a run that the plan does not have, a change of nothing or without a reason, and once
        the method is verified, which rests on the runs as they are
    """

    def act(dossier: Dossier) -> None:
        made = planned(dossier)
        runs = {} if made is None else {r.id: r for r in recorded_runs(dossier, made.setting)}
        run = runs.get(run_id)
        if run is None or run_id in {t.id for t in dossier.trials}:
            raise EntryError(f"There is no verification run {run_id[:40]!r} to correct.",
                             f"Runs: {', '.join(runs) or 'none yet'}.")
        if dossier.state == "verified":
            raise EntryError("The method is verified by its runs as they are.", BACK)
        result = amended(dossier.job, run.result, values)
        dossier.note_event("verification corrected", {
            **run_payload(replace(run, result=result)), "reason": checked_reason(reason),
            "replaces": run.record,
        })
        trial_id = taken_over(dossier).get(run_id)
        if trial_id is not None:
            dossier.correct(trial_id, reason, **values)

    return change(session, dossier_id, act)[0]


def learn_from_verification(session: Session, dossier_id: str) -> tuple[Dossier, list[str]]:
    """Take the runs of a failed verification over as trials; gives the trials' ids."""
    return change(session, dossier_id, lambda d: d.learn_from_verification())


def verify_dossier(
    session: Session, dossier: Dossier, data: bytes | str | None = None
) -> Verification:
    """Record a table, when given one, and decide.

    Raises
    ------
    EntryError
        naming the first row of the table that cannot be taken; nothing is recorded then
    """
    if data is not None:
        dossier, table, _ = record_verification(session, dossier.id, data)
        if table.rejected:
            first = table.rejected[0]
            more = len(table.rejected) - 1
            others = f" {counted(more, 'more row')} {is_or_are(more)} refused." if more else ""
            where = f"Row {first.row}: " if first.row else ""  # 0: the table as a whole
            raise EntryError(f"{where}{first.reason}{others}", first.cure)
    return verify(dossier)


def note_plan(
    dossier: Dossier, criteria: Criteria | None = None, setting: Setting | None = None
) -> VerificationPlan:
    """Plan and append the plan to the dossier's events.

    Raises
    ------
    EntryError
        once the method is verified, which rests on the plan that was met
    """
    if dossier.state == "verified":
        raise EntryError("The method is verified by the plan as it is.", BACK)
    chosen = setting if setting is not None else setting_to_verify(dossier)
    made = plan(dossier.fitted(), chosen, criteria)
    dossier.note_event("verification planned", plan_payload(made))
    return made


def read_runs_table(dossier: Dossier, made: VerificationPlan, data: bytes | str) -> ReadTable:
    """The filled bench sheet of a verification; a blank ``trial`` cell is a further run.

    Runs on record already are refused here, and what keeps a run from counting is said, before
    anything is recorded.
    """
    table = read_table(data, dossier.job, planned_trials(made), usual=made.setting)
    held = {run.id for run in recorded_runs(dossier, made.setting)}
    again = tuple(
        RejectedRow(t.rows[0], f"Run {t.trial} is already recorded.",
                    "Leave the cell trial empty to enter a further run, or correct that one.")
        for t in table.trials if t.trial in held)
    dayless = [t.trial or f"row {t.rows[0]}" for t in table.trials if not t.day]
    notes = (f"No day is given for {listed(dayless, 12)}; a run without its day does not count.",
             ) if dayless else ()
    return ReadTable(table.trials, (*table.rejected, *again), (*table.notes, *notes))


def planned_trials(made: VerificationPlan) -> list[Trial]:
    """The runs of the plan as trials of its setting."""
    return [Trial(id=r.id, setting=made.setting) for r in made.runs]


def note_runs(dossier: Dossier, made: VerificationPlan, table: ReadTable) -> list[str]:
    """Append the runs of a clean table to the dossier's events."""
    if not table.is_clean:
        return []
    held = {run.id for run in recorded_runs(dossier, made.setting)}
    ids = []
    for row in table.trials:
        run_id = row.trial or _free_id(held)
        held.add(run_id)
        result = check_result(dossier.job, row.run_time_min, row.outcome, row.recovery_percent,
                              row.remark, row.day, row.corrected)
        run = VerificationRun(run_id, row.setting or made.setting, result,
                              dict(row.blank_percent))
        dossier.note_event("verification recorded", run_payload(run))
        ids.append(run_id)
    return ids


def _free_id(held: set[str]) -> str:
    number = 1
    while f"V{number}" in held:
        number += 1
    return f"V{number}"
