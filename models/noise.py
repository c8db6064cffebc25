"""Noise of bench results: what one run shows around the true mean at its setting.

Levels follow the trade's experience (common practice, no source): recoveries above 85 %
scatter by 4-8 % from run to run and by 2-5 % between the vessels of one run; at 40-70 % the
relative scatter is 10-25 %; run times scatter by 3-5 % within and 5-10 % between days. The
middle of each range is used; the surrogate learns a multiplier on each from the data.

Since a recovery scatters more the lower it is, recoveries are compared on the stabilised
scale s(r) = integral of dr / run_sd(r), on which the run effect has unit variance everywhere
(variance-stabilising transformation; Bartlett 1947, Biometrics 3:39).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from models.compilation import inlined
from models.system import Array

RUN_TIME_SD: Final = 0.085
"""Standard deviation of ln(run time) between runs: 4 % within and 7.5 % between days."""

VESSEL_RSD: Final = 0.035
"""Relative standard deviation between vessels of one run."""

COMMON_SHARE: Final = 0.5
"""Share of the run effect's variance that all analytes of a run have in common (volume
made up, internal standard, calibration of the day; common practice, no source)."""

DAY_SHARE: Final = 0.35
"""Share of the variance of the run effect on recoveries that the runs of one day have in
common (common practice, no source: between 0.2 and 0.5)."""

DAY_SHARE_OF_TIME: Final = (0.075 / RUN_TIME_SD) ** 2
"""The same for run times."""

_LEVEL, _RSD = np.array([0.70, 0.85]), np.array([0.175, 0.06])
LEAST_RUN_SD: Final = 0.01

_STEP, _HIGHEST = 0.0025, 2.5


def run_sd(recovery: Array) -> Array:
    """Between-run standard deviation of a recovery fraction at that level (same shape)."""
    recovery = np.asarray(recovery, dtype=float)
    return np.asarray(np.maximum(recovery * np.interp(recovery, _LEVEL, _RSD), LEAST_RUN_SD))


def with_common(common: Array, own: Array, share: Array | float) -> Array:
    """Standardised run effects from what the analytes of a run have in common and their own.

    ``share`` of their variance is common.
    """
    return np.asarray(np.sqrt(share) * common + np.sqrt(1.0 - share) * own)


def misfit_with_common(standard: Array, share: Array | float) -> Array:
    """Squared Mahalanobis distance [...] of standardised differences [..., A] of one run.

    ``share`` [...] of the variance of each is common to all of them.
    """
    pull = share / (1.0 + share * (standard.shape[-1] - 1))
    alone = np.sum(standard**2, axis=-1) - pull * np.sum(standard, axis=-1) ** 2
    return np.asarray(alone / (1.0 - share))


def mean_variance(recovery: Array, vessels: Array, scale: Array | float = 1.0) -> Array:
    """Variance of the mean of ``vessels`` readings of one run, as a fraction squared.

    Vessels of one run share the run effect, so more vessels never take it away.
    """
    within = (VESSEL_RSD * np.maximum(recovery, 0.0)) ** 2 / np.maximum(vessels, 1.0)
    return (run_sd(recovery) * scale) ** 2 + within


def _tabulate() -> Array:
    level = np.arange(0.0, _HIGHEST + _STEP, _STEP)
    rate = 1.0 / run_sd(0.5 * (level[1:] + level[:-1]))
    return np.concatenate([[0.0], np.cumsum(rate * _STEP)])


_TABLE = _tabulate()
_TOP = len(_TABLE) - 2


def stabilised(recovery: Array) -> Array:
    """Recovery fractions on the stabilised scale, same shape; nan stays nan."""
    return _look_up(_TABLE, recovery)


def _look_up(table: Array, recovery: Array) -> Array:
    place = np.maximum(np.asarray(recovery, dtype=float), 0.0) / _STEP
    i = np.minimum(np.nan_to_num(place).astype(int), _TOP)
    return np.asarray(table[i] + (place - i) * (table[i + 1] - table[i]))


def _tabulate_readings() -> Array:
    """Mean of s over lognormal readings whose mean is r, at every r of the table."""
    node, weight = np.polynomial.hermite_e.hermegauss(21)
    level = np.arange(len(_TABLE), dtype=float) * _STEP
    relative = run_sd(level) / np.maximum(level, _STEP)
    spread = np.sqrt(np.log1p(relative**2))[:, None]
    readings = level[:, None] * np.exp(spread * node - 0.5 * spread**2)
    return np.asarray(stabilised(readings) @ weight / weight.sum())


_READING = _tabulate_readings()


def expected_reading(recovery: Array) -> Array:
    """What runs with that true mean read on average on the stabilised scale, same shape.

    It differs from s(r) where the scatter changes with the level: between 70 and 85 % lucky
    runs read further up than unlucky ones read down.
    """
    return _look_up(_READING, recovery)


@inlined
def expected_reading_one(recovery: float) -> float:
    """:func:`expected_reading` of one recovery fraction; negative ones count as zero."""
    place = max(recovery, 0.0) / _STEP
    i = min(int(place), _TOP)
    return float(_READING[i] + (place - i) * (_READING[i + 1] - _READING[i]))


def from_stabilised(value: Array) -> Array:
    """Recovery fractions of values on the stabilised scale, same shape; below zero gives zero."""
    return np.asarray(np.interp(value, _TABLE, _STEP * np.arange(len(_TABLE))))
