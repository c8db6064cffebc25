"""Which factor, drifting which way, breaks which analyte first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from experiments.answers import Forecast, chances
from experiments.factor_space import coded, decoded, numeric_factors
from experiments.forecaster import Forecaster
from experiments.job import FACTOR_WORDS, EvaporationJob, Factor, Setting
from experiments.region import last_that_holds

STEPS = 24
HALVINGS = 4


@dataclass(frozen=True)
class Drift:
    """One factor moved one way from the set point until the assurance is lost.

    ``at`` is the last value that still holds, ``margin`` its distance from the set point;
    ``breaks`` the analyte (or "run time", "boil-over", "sample temperature") that the drift has
    cost most of its chance, None when the assurance holds to the end of the window.
    """

    factor: str
    direction: Literal["up", "down"]
    at: float
    margin: float
    breaks: str | None
    sentence: str


def drifts(forecaster: Forecaster, setting: Setting) -> tuple[Drift, ...]:
    """All factors, both ways, the most sensitive (share of the window) first."""
    job = forecaster.job
    found = [
        _drift(forecaster, factor, setting, up)
        for factor in numeric_factors(job) for up in (True, False)
    ]

    def room(drift: Drift) -> tuple[bool, float]:
        factor = job.factor(drift.factor)
        share = abs(coded(factor, drift.at) - coded(factor, float(setting[drift.factor])))
        return (drift.breaks is None, share)

    return tuple(sorted(found, key=room))


def _drift(forecaster: Forecaster, factor: Factor, setting: Setting, up: bool) -> Drift:
    start = coded(factor, float(setting[factor.name]))
    places = np.linspace(start, 1.0 if up else 0.0, STEPS + 1)
    line: list[Setting] = [{**setting, factor.name: decoded(factor, float(p))} for p in places]
    forecasts = forecaster.forecast(line)
    asked = forecaster.job.limits.assurance
    broken = next((i for i, f in enumerate(forecasts) if f.probability < asked), None)
    at, breaks = float(line[-1][factor.name]), None
    if broken is not None:
        breaks = what_fell(forecaster.job, forecasts[0], forecasts[broken])
        ends = float(places[max(broken - 1, 0)]), float(places[broken])
        at = last_that_holds(forecaster, factor, *ends,
                             lambda v: [{**setting, factor.name: v}], HALVINGS)
    margin = abs(at - float(setting[factor.name]))
    return Drift(
        factor.name, "up" if up else "down", at, margin, breaks,
        _sentence(factor, setting, up, at, breaks),
    )


def what_fell(job: EvaporationJob, before: Forecast, after: Forecast) -> str:
    """What a drift has cost the largest share of its chance.

    Not what has the least chance then: that may have been as little before the drift.
    """
    had, has = chances(job, before), chances(job, after)
    return min(has, key=lambda name: (has[name] / max(had[name], 1e-9), has[name]))


def _sentence(
    factor: Factor, setting: Setting, up: bool, at: float, breaks: str | None
) -> str:
    name, unit = FACTOR_WORDS.get(factor.name, (factor.name, ""))
    verb = "Raising" if up else "Lowering"
    centre = float(setting[factor.name])
    end = factor.high if up else factor.low
    if math.isclose(centre, end, rel_tol=1e-9):
        return f"The {name} is already at the end of its window ({centre:g} {unit})."
    if breaks is None:
        return (
            f"{verb} the {name} from {centre:g} to the end of its window ({end:g} {unit}) keeps "
            "every target."
        )
    return f"{verb} the {name} from {centre:g} beyond {at:.3g} {unit} {breaking(breaks)} first."


def breaking(name: str) -> str:
    """What happens when an analyte, the run time, boil-over or the sample's cap fails."""
    words = {"run time": "puts the end of the run in doubt", "boil-over": "risks boil-over",
             "sample temperature": "makes the sample too warm"}
    return words.get(name, f"breaks {name}")
