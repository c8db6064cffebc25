"""Noise of bench results: what one run shows around the true mean at its setting.

Levels follow the trade's experience (common practice, no source): recoveries above 85 %
scatter by 4-8 % from day to day and by 2-5 % between the vessels of one run; at 40-70 % the
relative scatter is 10-25 %; run times scatter by 3-5 % within and 5-10 % between days.
The surrogate learns one multiplier on the run scatter from the data.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from models.system import Array

RUN_TIME_SD: Final = 0.06
"""Standard deviation of ln(run time) between runs of one setting."""

VESSEL_RSD: Final = 0.035
"""Relative standard deviation between vessels of one run."""

_LEVEL = np.array([0.0, 0.2, 0.4, 0.55, 0.7, 0.85, 1.0, 1.3])
_RUN_SD = np.array([0.010, 0.035, 0.060, 0.072, 0.065, 0.050, 0.045, 0.055])


def run_sd(recovery: Array) -> Array:
    """Between-run standard deviation of a recovery fraction at that level (same shape)."""
    return np.asarray(np.interp(recovery, _LEVEL, _RUN_SD))


def mean_variance(recovery: Array, vessels: Array, scale: Array | float = 1.0) -> Array:
    """Variance of the mean of ``vessels`` readings of one run, as a fraction squared.

    Vessels of one run share the run effect, so more vessels never take it away.
    """
    level = np.clip(recovery, 0.02, None)
    within = (VESSEL_RSD * level) ** 2 / np.maximum(vessels, 1.0)
    return (run_sd(recovery) * scale) ** 2 + within
