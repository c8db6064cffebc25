"""Why this setting, in sentences made of the record: every number in them was computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from experiments.answers import Forecast
from experiments.factor_space import coded, decoded, dialled, numeric_factors
from experiments.forecaster import Forecaster
from experiments.job import EvaporationJob, Setting
from experiments.limiting import what_limits
from experiments.report.digits import factor_name, factor_unit, factor_value, printed, value
from experiments.report.means import mean_recovery
from experiments.sensitivity import Drift
from experiments.trials import FAILING, Trial
from experiments.wording import as_asked, percent

STEP = 0.12
"""How far a neighbour lies, as a share of the factor's window."""


@dataclass(frozen=True)
class Neighbour:
    """A setting beside the set point: one factor moved, with its forecast."""

    factor: str
    value: float
    forecast: Forecast


def neighbours(forecaster: Forecaster, setting: Setting) -> tuple[Neighbour, ...]:
    """One setting on either side for each factor that has a range, as far as the window goes."""
    job, moved = forecaster.job, []
    for factor in numeric_factors(job):
        start = coded(factor, float(setting[factor.name]))
        for place in (start - STEP, start + STEP):
            number = dialled(factor, decoded(factor, min(max(place, 0.0), 1.0)))
            if abs(coded(factor, number) - start) > 0.25 * STEP:
                moved.append((factor.name, number))
    settings: list[Setting] = [{**setting, name: number} for name, number in moved]
    return tuple(
        Neighbour(name, number, forecast)
        for (name, number), forecast in zip(moved, forecaster.forecast(settings), strict=True)
    )


def why_this_setting(
    job: EvaporationJob, shown: Forecast, beside: Sequence[Neighbour], drifts: Sequence[Drift]
) -> tuple[str, ...]:
    """For each factor: what the neighbours would give, and where the assurance ends.

    Of a setting that does not reach the assurance there is no end to tell.
    """
    lines = [printed(f"What limits the setting: {what_limits(job, shown)}.")]
    for factor in numeric_factors(job):
        lines += [_neighbour_sentence(job, shown, n) for n in beside if n.factor == factor.name]
    if shown.probability >= job.limits.assurance:
        lines += [d.sentence for d in drifts if d.breaks is not None]
    return tuple(lines)


def _neighbour_sentence(job: EvaporationJob, shown: Forecast, beside: Neighbour) -> str:
    number = factor_value(job, beside.factor, beside.value)
    minutes = beside.forecast.run_time_min.mean - shown.run_time_min.mean
    time = _time_change(minutes, shown.run_time_min.mean)
    chance = beside.forecast.probability
    asked = job.limits.assurance
    start = (
        f"At {'an' if factor_name(beside.factor)[0] in 'aeiou' else 'a'} "
        f"{factor_name(beside.factor)} of {number} {factor_unit(beside.factor)} a run would take "
        f"{time}"
    )
    if chance >= asked or shown.probability < asked:
        return f"{start}; the probability would be {percent(chance)}."
    return (
        f"{start}, but the probability would be {percent(chance)}, below the asked "
        f"{as_asked(asked)}: {printed(what_limits(job, beside.forecast))}."
    )


def _time_change(minutes: float, of: float) -> str:
    if abs(minutes) < max(0.5, 0.01 * of):
        return "about as long"
    word = "longer" if minutes > 0 else "less"
    return f"{value(abs(minutes), 0 if abs(minutes) >= 3 else 1)} min {word}"


def what_was_rejected(job: EvaporationJob, trials: Sequence[Trial]) -> tuple[str, ...]:
    """Trials that did not do, and why, in the order they were run."""
    lines = []
    for trial in trials:
        result = trial.result
        if result is None or trial.state == "withdrawn":
            continue
        if result.outcome in FAILING:
            lines.append(f"{trial.id} ended as {result.outcome}.")
            continue
        if result.corrected:
            continue
        short = []
        for analyte in job.must:
            mean = mean_recovery(result, analyte.name)
            if mean is not None and mean.middle < analyte.target_recovery_percent:
                short.append(f"{analyte.name} {mean.words(0)} % "
                             f"(target {analyte.target_recovery_percent:g} %)")
        if short:
            more = f" and {len(short) - 3} more" if len(short) > 3 else ""
            lines.append(f"{trial.id} gave back too little: {', '.join(short[:3])}{more}.")
    return tuple(lines)


def margin_sentence(
    job: EvaporationJob, shown: Forecast, fastest: Forecast | None
) -> str | None:
    """What the distance to the fastest qualifying setting costs."""
    if fastest is None or fastest.setting == shown.setting:
        return None
    moved = [
        f"{factor_name(f.name)} {factor_value(job, f.name, fastest.setting[f.name])} "
        f"{factor_unit(f.name)}"
        for f in job.factors if fastest.setting[f.name] != shown.setting[f.name]
    ]
    cost = shown.run_time_min.mean - fastest.run_time_min.mean
    price = f"of {value(cost, 1)} min" if cost >= 0.05 else "of less than 0.1 min"
    return (
        f"The fastest setting that qualifies ({', '.join(moved)}) would take "
        f"{fastest.run_time_min.mean:.0f} min; the set point lies inwards of it so that what the "
        f"equipment holds (± {job.equipment.set_temperature_tolerance_c:g} °C, ± "
        f"{job.equipment.end_pressure_tolerance_mbar:g} mbar) stays inside, at a cost {price} a "
        "batch."
    )
