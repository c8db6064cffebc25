"""A setting typed or stepped by the reader."""

from __future__ import annotations

from dataclasses import dataclass

from experiments.factor_space import decoded, dialled
from experiments.job import EvaporationJob, Factor, Setting
from wizard.units import Units


def middle_setting(job: EvaporationJob, ramp: float | None = None) -> Setting:
    """A setting in the middle of the window, pressures and ramp by ratio."""
    setting: Setting = {f.name: _middle(f) for f in job.factors}
    if ramp is not None:
        setting["ramp_rate_mbar_per_min"] = ramp
    return setting


def _middle(factor: Factor) -> float | str:
    if factor.choices:
        return factor.choices[0]
    if factor.is_fixed:
        return factor.low
    return dialled(factor, decoded(factor, 0.5))


@dataclass(frozen=True)
class Stepper:
    """What a number field for a factor needs, in the reader's unit."""

    low: float
    high: float
    step: float
    digits: int


def stepper(factor: Factor, units: Units) -> Stepper:
    """Bounds and step of a factor as shown; history outside the bounds may be typed too."""
    low, high = units.shown(factor.name, factor.low), units.shown(factor.name, factor.high)
    zero = units.shown(factor.name, 0.0)
    step = abs(units.shown(factor.name, factor.resolution or 1.0) - zero)
    digits = 0
    while digits < 4 and abs(step * 10**digits - round(step * 10**digits)) > 1e-6:
        digits += 1
    if units.temperature == "K" and factor.name.endswith("_c"):
        digits = max(digits, 2)
    return Stepper(low, high, round(step, 6), digits)
