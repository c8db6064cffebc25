"""Settings, forecasts and results in words."""

from __future__ import annotations

from collections.abc import Mapping

from experiments.answers import Interval
from experiments.dossier import Dossier
from experiments.job import MAIN_FACTORS, Analyte, EvaporationJob
from experiments.trials import Recovery, Result, Trial
from wizard.units import Units
from wizard.view_models.job_fields import FACTOR_LABELS

STATES = {"pending": "to be run", "recorded": "recorded", "withdrawn": "withdrawn",
          "excluded": "kept out of the fit"}


def setting_text(
    setting: Mapping[str, float | str], units: Units, job: EvaporationJob | None = None
) -> str:
    """A setting on one line; factors that are fixed in the job are left out."""
    fixed = {f.name for f in job.factors if f.is_fixed} if job else set()
    parts = []
    for name in FACTOR_LABELS:
        if name not in setting or name in fixed:
            continue
        value = units.text(name, setting[name], 4)
        parts.append(value if name in MAIN_FACTORS else f"{FACTOR_LABELS[name].lower()} {value}")
    return " · ".join(parts)


def minutes(value: Mapping[str, float] | Interval | None) -> str:
    """A run time with its interval, e.g. ``44 min (38 to 52)``."""
    if not value:
        return "no forecast"
    mean, low, high = _three(value)
    return f"{_time(mean)} min ({_time(low)} to {_time(high)})"


def _time(value: float) -> str:
    return f"{value:.1f}" if value < 10 else f"{value:.0f}"


def recovery_range(value: Mapping[str, float] | Interval) -> str:
    """A recovery with its interval, e.g. ``88 % (83 to 92)``."""
    mean, low, high = _three(value)
    return f"{mean:.0f} % ({low:.0f} to {high:.0f})"


def _three(value: Mapping[str, float] | Interval) -> tuple[float, float, float]:
    if isinstance(value, Interval):
        return value.mean, value.low, value.high
    return value["mean"], value["low"], value["high"]


def goal(analyte: Analyte) -> str:
    """What is asked of the mean recovery of an analyte."""
    least = f"at least {analyte.target_recovery_percent:g} %"
    return least if analyte.role == "must" else f"watched, {least}"


def recovery_mean(result: Result, analyte: str) -> float | None:
    """Mean of the readings of an analyte; None when none was read or one was censored."""
    lowest, highest = result.mean_span(analyte)
    return lowest if lowest == highest else None


def recovery_text(result: Result, analyte: str, vessels: int) -> str:
    """Readings of an analyte, e.g. ``88 % (84 to 93)``; their number when vessels are missing."""
    readings: list[Recovery] = [r for r in result.recovery.get(analyte, ()) if r is not None]
    if not readings:
        return "–"
    if any(r.censored for r in readings):
        highest = max(readings, key=lambda r: r.percent)
        return f"{'<' if highest.censored else 'up to '}{highest.percent:g} %"
    values = [r.percent for r in readings]
    mean = sum(values) / len(values)
    if len(values) == 1:
        return f"{mean:.0f} %"
    count = "" if len(values) == vessels else f", {len(values)} vessels"
    return f"{mean:.0f} % ({min(values):.0f} to {max(values):.0f}{count})"


def is_corrected(dossier: Dossier, trial_id: str) -> bool:
    """Whether the result on record took the place of an earlier one."""
    return any(c["kind"] == "corrected" and c["trial"] == trial_id
               for c in dossier.details.changes)


def result_text(trial: Trial) -> str:
    """What a run gave, on one line."""
    result = trial.result
    if result is None:
        return STATES[trial.state]
    time = "no run time" if result.run_time_min is None else f"{result.run_time_min:.1f} min"
    parts = [time, result.outcome]
    if result.corrected:
        parts.append("recoveries corrected by a standard, kept out of the fit")
    if trial.state != "recorded":
        parts.append(STATES[trial.state])
    if trial.run_of is not None:
        parts.append(f"verification run {trial.run_of.run}")
    return ", ".join(parts)
