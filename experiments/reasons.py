"""One sentence, in the analyst's words, for why a trial is worth running."""

from __future__ import annotations

import numpy as np

from experiments.answers import Forecast
from experiments.fitted import LEAST_ENDING, Fitted
from experiments.job import Setting
from experiments.wording import percent

LIKELY = 0.5
"""Chance of keeping every target from which a start is called safe."""
HOPELESS = 0.01
"""Chance of keeping every target below which a trial can only confirm that nothing does."""
WORTH_WATCHING = 0.1
"""Chance of boil-over from which somebody should stand by."""
REPEATED = (
    "The same setting once more: runs scatter, and a second one tells whether it holds its "
    "targets on another run."
)


def trial_reason(fitted: Fitted, setting: Setting, gain: float, safe: bool) -> str:
    """Why this setting, with the figures that decide it.

    Parameters
    ----------
    fitted : what is known
    setting : the setting proposed
    gain : minutes a batch the trial is expected to save
    safe : whether it was chosen as the safe start
    """
    forecast = fitted.forecast([setting])[0]
    return _why(fitted, setting, forecast, gain, safe) + boil_over_warning(forecast)


def boil_over_warning(forecast: Forecast) -> str:
    """A sentence to follow the reason where liquid may well be thrown out; empty elsewhere."""
    chance = forecast.boil_over_probability
    return (f" Watch it: liquid may be thrown out (chance {percent(chance)})."
            if chance >= WORTH_WATCHING else "")


def _why(
    fitted: Fitted, setting: Setting, forecast: Forecast, gain: float, safe: bool
) -> str:
    minutes = forecast.run_time_min.mean
    chance = percent(forecast.probability)
    if safe and forecast.probability < HOPELESS:
        return (
            f"A start: no setting has much of a chance ({chance} here), and this one ends well as "
            f"surely as any, in about {minutes:.0f} min; a first measure of heat transfer."
        )
    if safe:
        start = "A safe start" if forecast.probability >= LIKELY else "A start, if no safe one"
        return (
            f"{start}: the fastest of the settings most likely to keep every target ({chance}), "
            f"about {minutes:.0f} min, and a first measure of heat transfer."
        )
    doubtful = _most_doubtful(fitted, setting)
    if forecast.probability >= fitted.job.limits.assurance:
        return (
            f"Already likely to keep every target ({chance}) in about {minutes:.0f} min; a run "
            f"here proves it and is expected to save {max(gain, 0.0):.1f} min a batch."
        )
    ends = forecast.finish_probability
    if forecast.probability < HOPELESS:
        return _confirms(fitted, forecast)
    if doubtful is not None and ends >= min(0.9, forecast.analyte_probability[doubtful[0]]):
        name, low, high, target = doubtful
        return (
            f"Decides {name}: its forecast of {low:.0f}-{high:.0f} % (four chances in five) "
            f"straddles the target of {target:g} %; about {minutes:.0f} min, {chance} to keep "
            "every target."
        )
    if ends < 0.9:
        return (
            f"Shows whether a run ends as it should here ({percent(ends)}): "
            f"{forecast.run_time_min.low:.0f} to {forecast.run_time_min.high:.0f} min if it does, "
            f"{chance} to keep every target."
        )
    return (
        f"May be the faster method: {forecast.run_time_min.low:.0f} to "
        f"{forecast.run_time_min.high:.0f} min, {chance} to keep every target."
    )


def _confirms(fitted: Fitted, forecast: Forecast) -> str:
    """What a run tells where hardly any setting has a chance."""
    start = f"No setting has much of a chance ({percent(forecast.probability)} here)"
    targets = {a.name: a.target_recovery_percent for a in fitted.job.analytes if a.role == "must"}
    worst = min(targets, key=lambda n: forecast.analyte_probability[n], default=None)
    if forecast.finish_probability < LEAST_ENDING:
        limit = fitted.job.limits.max_run_time_min
        return f"{start}; a run here tells whether it really does not end within {limit:g} min."
    if worst is None or forecast.analyte_probability[worst] >= LIKELY:
        return f"{start}; a run here tells whether that is so."
    return (f"{start}; a run here tells whether {worst} really stays near "
            f"{forecast.recovery_percent[worst].mean:.0f} %, against a target of "
            f"{targets[worst]:g} %, in about {forecast.run_time_min.mean:.0f} min.")


def _most_doubtful(
    fitted: Fitted, setting: Setting
) -> tuple[str, float, float, float] | None:
    """The "must" analyte whose target is least certain either way, with its forecast."""
    forecast = fitted.forecast([setting], level=0.8)[0]
    must = [a for a in fitted.job.analytes if a.role == "must"]
    if not must:
        return None
    doubt = [abs(forecast.analyte_probability[a.name] - 0.5) for a in must]
    analyte = must[int(np.argmin(doubt))]
    if min(doubt) >= 0.4:  # the central 80 % then lie on one side of the target
        return None
    interval = forecast.recovery_percent[analyte.name]
    return analyte.name, interval.low, interval.high, analyte.target_recovery_percent
