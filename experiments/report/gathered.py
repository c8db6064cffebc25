"""Everything a report needs of a dossier, worked out once; sections only put it in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from experiments.answers import Answer, Forecast
from experiments.authorisation import job_cautions
from experiments.diagnostics import Reading, leave_one_out, odd_runs
from experiments.differences import Comparison
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.fitted import Fitted, fit
from experiments.job import Setting
from experiments.learnt import Learnt, what_was_learnt
from experiments.method_in_use import today_against_recommended
from experiments.operating_map import WindowMap, window_map
from experiments.physics import PhysicsModel
from experiments.predicted_run import predicted_run
from experiments.progress import Progress, unwatched
from experiments.region import Region, operating_region, why_no_region
from experiments.report.rationale import Neighbour, neighbours
from experiments.sensitivity import Drift, drifts
from experiments.verification import Verification, decide, setting_to_verify
from experiments.verification_plan import VerificationPlan, plan
from experiments.verification_runs import VerificationRun, planned, recorded_runs
from experiments.window import Limit, window_limits
from models.errors import Finding


@dataclass(frozen=True, eq=False)
class Gathered:
    """The record and what follows from it.

    ``shown`` is the forecast at the recommended setting, or at the best compromise, ``before``
    the one there from physics alone, without any trial;
    ``region`` is None where there is none around the setting.
    """

    dossier: Dossier
    fitted: Fitted
    answer: Answer
    shown: Forecast
    before: Forecast
    new_run: Forecast
    region: Region | None
    drifts: tuple[Drift, ...]
    neighbours: tuple[Neighbour, ...]
    readings: tuple[Reading, ...]
    odd: tuple[Finding, ...]
    learnt: tuple[Learnt, ...]
    limits: tuple[Limit, ...]
    map: WindowMap | None
    trace: dict[str, Any]
    comparison: Comparison
    plan: VerificationPlan
    verification: Verification
    runs: tuple[VerificationRun, ...]
    cautions: tuple[Finding, ...]
    findings: tuple[Finding, ...]

    @property
    def setting(self) -> Setting:
        return self.shown.setting

    @property
    def is_recommended(self) -> bool:
        return self.answer.setting is not None


def gather(dossier: Dossier, progress: Progress | None = None) -> Gathered:
    """Work everything out.

    Raises
    ------
    EntryError
        when no trial has a result yet: there is nothing to report on
    """
    if not any(t.result is not None for t in dossier.trials):
        raise EntryError("This dossier has no results yet, so there is nothing to report.",
                         "Record at least one trial; the bench sheet comes with `propose -o`.")
    report = progress if progress is not None else unwatched
    report(0.02, "learning from the trials")
    fitted = dossier.fitted()
    report(0.15, "recommending")
    answer = dossier.recommend()
    setting = _setting(answer)
    shown = fitted.forecast([setting])[0]
    before = fit(dossier.job, [], carried=fitted.carried).forecast([setting])[0]
    region = _region(fitted, setting, report)
    report(0.55, "drawing the operating map")
    job = dossier.job
    ramp = float(setting["ramp_rate_mbar_per_min"])
    two_free = not job.factor("set_temperature_c").is_fixed and not (
        job.factor("end_pressure_mbar").is_fixed)
    found_map = (window_map(fitted, ramp, columns=11, rows=10, around=setting, passes=0)
                 if two_free else None)
    report(0.7, "ranging each factor")
    ranged = drifts(fitted, setting)
    report(0.8, "checking the fit")
    made, runs, verification = _verification(dossier, fitted)
    report(0.9, "predicting the run")
    physics = PhysicsModel(job)
    return Gathered(
        dossier, fitted, answer, shown, before, fitted.forecast([setting], new_run=True)[0],
        region, ranged, neighbours(fitted, setting), leave_one_out(fitted), odd_runs(fitted),
        what_was_learnt(fitted), window_limits(job), found_map,
        predicted_run(job, setting, fitted.mean_parameters),
        today_against_recommended(dossier), made, verification, runs,
        job_cautions(job), tuple(physics.findings),
    )


def _setting(answer: Answer) -> Setting:
    if answer.setting is not None:
        return answer.setting
    if answer.compromise is None:
        raise EntryError("There is no setting to report on.", "Record more trials.")
    return answer.compromise.setting


def _region(fitted: Fitted, setting: Setting, report: Progress) -> Region | None:
    if why_no_region(fitted, setting):
        return None
    return operating_region(fitted, setting, lambda s, what: report(0.2 + 0.35 * s, what))


def _verification(
    dossier: Dossier, fitted: Fitted
) -> tuple[VerificationPlan, tuple[VerificationRun, ...], Verification]:
    made = planned(dossier)
    if made is None:
        made = plan(fitted, setting_to_verify(dossier))
    runs = recorded_runs(dossier, made.setting)
    return made, tuple(runs), decide(dossier.job, made, runs)
