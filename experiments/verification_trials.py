"""Runs of a failed verification taken over as trials, so that the forecasts learn from them.

The trial names the plan and the run it is, so that the run is taken over once and never counts
for a verification a second time.
"""

from __future__ import annotations

from experiments.dossier import Dossier
from experiments.dossier_state import result_payload
from experiments.entries import EntryError
from experiments.events import last_of
from experiments.trials import RunOfPlan
from experiments.verification import verify
from experiments.verification_runs import VerificationRun, high_blank, planned, recorded_runs


def taken_over(dossier: Dossier) -> dict[str, str]:
    """Runs of the last plan that are trials too: the trial of each."""
    plan = last_of(dossier.events, "verification planned")
    return {t.run_of.run: t.id for t in dossier.trials
            if plan is not None and t.run_of is not None and t.run_of.plan == plan.seq}


def runs_to_take_over(dossier: Dossier) -> list[VerificationRun]:
    """Runs of the last plan that the forecasts have not learnt from and could.

    None but those of a failed verification: before the decision they would move what they are to
    prove. A run with too high a blank teaches nothing of losses.
    """
    made = planned(dossier)
    if made is None or verify(dossier).decision != "fail":
        return []
    known = {*taken_over(dossier), *(t.id for t in dossier.trials)}
    return [r for r in recorded_runs(dossier, made.setting)
            if r.id not in known and high_blank(made, r) is None]


def take_over(dossier: Dossier) -> list[str]:
    """Enter those runs as recorded trials; gives the ids of the trials.

    Raises
    ------
    EntryError
        where there is none
    """
    runs = runs_to_take_over(dossier)
    plan = last_of(dossier.events, "verification planned")
    if plan is None or not runs:
        raise EntryError("There is no run of a failed verification left to learn from.",
                         "Only a verification that is decided and not passed gives its runs.")
    return [_enter(dossier, RunOfPlan(plan.seq, run.id), run) for run in runs]


def _enter(dossier: Dossier, run_of: RunOfPlan, run: VerificationRun) -> str:
    """Enter a run as a recorded trial; gives the trial's id."""
    trial_id = f"T{len(dossier.trials) + 1}"
    dossier.note_event("entered", {
        "trial": trial_id, "setting": run.setting, "origin": "verification",
        "reason": f"Run {run.id} of a verification that was not passed.",
        "run_of": run_of._asdict(),
    })
    dossier.note_event("recorded", {"trial": trial_id, "result": result_payload(run.result)})
    return trial_id


def must_be_corrected_here(dossier: Dossier, trial_id: str) -> None:
    """Refuse a correction of a trial that is a run of the last plan: the two would differ.

    Raises
    ------
    EntryError
        saying where the run is corrected
    """
    run = {t: r for r, t in taken_over(dossier).items()}.get(trial_id)
    if run is not None:
        raise EntryError(f"Trial {trial_id} is verification run {run}.",
                         "Correct the run on the page Verify; the trial follows.")
