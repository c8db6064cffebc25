"""Trials to be run, as cards: setting, reason, and what is expected beside the targets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from experiments.answers import Forecast
from experiments.job import EvaporationJob
from experiments.trials import Trial
from experiments.wording import capital, is_or_are, listed, percent
from wizard.units import Units
from wizard.view_models.settings_text import minutes, recovery_range, setting_text


@dataclass(frozen=True)
class TrialCard:
    """One proposed trial for the screen."""

    id: str
    heading: str
    reason: str
    run_time: str
    run_time_range: str
    recoveries: tuple[str, ...]


def trial_card(trial: Trial, job: EvaporationJob, units: Units) -> TrialCard:
    """What the reader should know before running a trial."""
    return TrialCard(
        trial.id, f"{trial.id} · {setting_text(trial.setting, units, job)}",
        units.sentence(trial.reason), *_time(trial, units),
        tuple(_expected(trial.recovery_percent.get(a.name), a.name, a.target_recovery_percent,
                        a.role) for a in job.analytes),
    )


def with_forecast(trial: Trial, forecast: Forecast) -> Trial:
    """A trial that was entered without a forecast, with the one that holds now."""
    return replace(
        trial,
        reason=f"{trial.reason} {capital(percent(forecast.probability))} to keep every target, "
               f"{percent(forecast.finish_probability)} to end as it should.".strip(),
        **forecast.promise,
    )


def _time(trial: Trial, units: Units) -> tuple[str, str]:
    """The forecast run time, and its range on a line of its own."""
    mean, _, spread = units.sign(minutes(trial.run_time_min)).partition(" (")
    return mean, f"{spread.rstrip(')')} min, 95 %" if spread else ""


def _expected(
    forecast: Mapping[str, float] | None, name: str, target: float, role: str
) -> str:
    goal = f"target {target:g} %" if role == "must" else f"watched, {target:g} %"
    if not forecast:
        return f"{name}: no forecast ({goal})"
    return f"{name}: {recovery_range(forecast)}, {goal}"


def trials_left(job: EvaporationJob, trials: tuple[Trial, ...]) -> int:
    """How many trials may still be proposed; those taken back do not count."""
    return max(job.limits.trials - sum(t.state != "withdrawn" for t in trials), 0)


def budget_sentence(job: EvaporationJob, trials: tuple[Trial, ...]) -> str:
    """Which trials wait, and how many are used and left."""
    counted = [t for t in trials if t.state != "withdrawn"]
    waiting = [t.id for t in counted if t.state == "pending"]
    left = trials_left(job, trials)
    why = "reason stands" if len(waiting) == 1 else "reasons stand"
    lead = (f"**Run {listed(waiting)} next**; the {why} below."
            if waiting else "**No trial waits to be run.**")
    return (f"{lead} Of {job.limits.trials} trials {len(counted) - len(waiting)} are run, "
            f"{len(waiting)} wait{'s' if len(waiting) == 1 else ''} and {left} "
            f"{is_or_are(left)} left to propose.")
