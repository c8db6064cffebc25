"""What was learnt, for the charts and in sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from experiments.answers import Forecast
from experiments.dossier import Dossier
from experiments.job import EvaporationJob
from experiments.learnt import Learnt
from experiments.trials import Result, Trial
from experiments.wording import counted
from wizard.charts.learning import LearntRow
from wizard.charts.recoveries import TrialPoint
from wizard.view_models.settings_text import recovery_mean

CERTAIN = 1.4
"""A quantity assumed this closely is said in words, not drawn."""


def learnt_rows(learnt: Sequence[Learnt], only_told: bool) -> list[LearntRow]:
    """Quantities relative to what was assumed; those the trials said nothing of may stay out."""
    rows = []
    for item in learnt:
        if only_told and not item.is_told:
            continue
        if item.prior_mean <= 0 or item.prior_low <= 0 or item.low <= 0:
            continue
        if item.prior_high / item.prior_low < CERTAIN:
            continue
        base = item.prior_mean
        rows.append(LearntRow(
            item.meaning, (item.prior_low / base, item.prior_high / base), item.low / base,
            item.mean / base, item.high / base, item.sentence,
        ))
    return rows


def learnt_sentences(learnt: Sequence[Learnt]) -> tuple[list[str], list[str]]:
    """What the trials told, the largest change first, and what they are silent on."""
    told = sorted((x for x in learnt if x.is_told), key=_change, reverse=True)
    silent = [x.meaning for x in learnt if not x.is_told]
    return [x.sentence for x in told], silent


def _change(item: Learnt) -> float:
    if item.prior_mean <= 0 or item.mean <= 0:
        return 0.0
    return abs(math.log(item.mean / item.prior_mean))


def trial_points(dossier: Dossier) -> list[TrialPoint]:
    """Finished runs with their mean recoveries and the spread of their vessels."""
    points = []
    for trial in dossier.recorded:
        point = _point(trial, dossier.job)
        if point is not None:
            points.append(point)
    return points


def _point(trial: Trial, job: EvaporationJob) -> TrialPoint | None:
    result = trial.result
    if result is None or result.run_time_min is None or result.outcome != "finished":
        return None
    recovery = {}
    for analyte in job.analytes:
        mean = recovery_mean(result, analyte.name)
        if mean is None:
            continue
        values = [r.percent for r in result.recovery[analyte.name] if r is not None]
        recovery[analyte.name] = (mean, min(values), max(values))
    kind = "today" if trial.origin == "today" else "measured"
    return TrialPoint(trial.id, result.run_time_min, recovery, kind) if recovery else None


def forecast_point(forecast: Forecast, label: str, kind: str) -> TrialPoint:
    """A forecast as a point beside the trials; ``kind`` is "forecast" or "recommended"."""
    return TrialPoint(
        label, forecast.run_time_min.mean,
        {n: (i.mean, i.low, i.high) for n, i in forecast.recovery_percent.items()}, kind,
    )


def targets(job: EvaporationJob, only_must: bool) -> dict[str, float]:
    """Targets by analyte."""
    return {a.name: a.target_recovery_percent for a in job.analytes
            if a.role == "must" or not only_must}


def first_line(points: Sequence[TrialPoint], goals: Mapping[str, float]) -> str:
    """How many runs met every target, and the fastest of them."""
    good = [p for p in points
            if all(n in p.recovery and p.recovery[n][0] >= t for n, t in goals.items())]
    runs = f"{counted(len(points), 'run')} finished with recoveries"
    if not good:
        return f"{runs}; none met every target in its mean yet."
    fastest = min(good, key=lambda p: p.run_time_min)
    which = f"{fastest.label} in {fastest.run_time_min:.0f} min"
    if len(points) == 1:
        return f"{runs} and met every target in the mean: {which}."
    many = "all" if len(good) == len(points) else f"{len(good)} of them"
    return f"{runs}; {many} met every target in the mean, the fastest is {which}."


def left_out(dossier: Dossier) -> str:
    """Runs that cannot be drawn against run time, and why."""
    lines = [f"{t.id} ({_why_left_out(t.result)})" for t in dossier.recorded
             if t.result is not None and _point(t, dossier.job) is None]
    return f"Not drawn: {', '.join(lines)}." if lines else ""


def _why_left_out(result: Result) -> str:
    """What keeps a run from being a point: its outcome, or what was not read."""
    if result.outcome != "finished":
        return result.outcome
    if result.run_time_min is None:
        return "no run time"
    below = any(r is not None and r.censored for v in result.recovery.values() for r in v)
    return "readings below their limit, so no mean" if below else "no recoveries"
