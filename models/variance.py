"""Where scatter comes from: one-way analysis of variance, runs with vessels, positions.

Sums of squares are taken about a shifted origin so that data with many leading digits in
common keep them (the certified sets of NIST StRD are the check).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import f

from models.errors import OutOfRange
from models.system import Array

ROUNDING = 1e-12
"""Share of a value that may be lost in sums; scatter below it is none."""


@dataclass(frozen=True)
class AnalysisOfVariance:
    """One-way table: degrees of freedom, sums of squares, F and its p-value."""

    between_degrees_of_freedom: int
    within_degrees_of_freedom: int
    between_sum_of_squares: float
    within_sum_of_squares: float
    f_ratio: float
    p_value: float

    @property
    def between_mean_square(self) -> float:
        return self.between_sum_of_squares / self.between_degrees_of_freedom

    @property
    def within_mean_square(self) -> float:
        return self.within_sum_of_squares / self.within_degrees_of_freedom

    @property
    def r_squared(self) -> float:
        total = self.between_sum_of_squares + self.within_sum_of_squares
        return self.between_sum_of_squares / total if total else 0.0


def one_way(groups: Sequence[Array]) -> AnalysisOfVariance:
    """One-way analysis of variance.

    Parameters
    ----------
    groups : at least two arrays [n_i] of finite values, together more values than groups

    Raises
    ------
    OutOfRange
        when there is nothing to compare, or no scatter to compare with
    """
    arrays = [np.asarray(g, dtype=float).ravel() for g in groups]
    arrays = [a for a in arrays if a.size]
    count = sum(a.size for a in arrays)
    if len(arrays) < 2 or count <= len(arrays):
        raise OutOfRange(
            f"{count} values in {len(arrays)} groups cannot be compared.",
            "At least two groups are needed, one of them with two values.",
        )
    if not all(np.isfinite(a).all() for a in arrays):
        raise OutOfRange("A value is not finite.", "Leave out what was not measured.")
    origin = arrays[0][0]
    arrays = [a - origin for a in arrays]
    grand = math.fsum(x for a in arrays for x in a) / count
    means = [math.fsum(a) / a.size for a in arrays]
    between = math.fsum(a.size * (m - grand) ** 2 for a, m in zip(arrays, means, strict=True))
    within = math.fsum(
        (x - m) ** 2 for a, m in zip(arrays, means, strict=True) for x in a
    )
    df_between, df_within = len(arrays) - 1, count - len(arrays)
    if within > 0.0:
        ratio = (between / df_between) / (within / df_within)
        p_value = float(f.sf(ratio, df_between, df_within))
    else:
        ratio, p_value = (math.inf, 0.0) if between > 0.0 else (math.nan, math.nan)
    return AnalysisOfVariance(df_between, df_within, between, within, ratio, p_value)


@dataclass(frozen=True)
class NestedVariance:
    """Mean and variance components of values nested in groups (vessels in runs).

    ``values_per_group`` is the harmonic mean of the group sizes when they differ.
    """

    mean: float
    groups: int
    values_per_group: float
    between_mean_square: float
    within_mean_square: float
    within_degrees_of_freedom: int
    between_variance: float


def nested(groups: Sequence[Array]) -> NestedVariance:
    """Variance components of values in groups (Searle, unweighted group means).

    Parameters
    ----------
    groups : at least two arrays [n_i]; with one value each the scatter between groups is
        all there is

    Notes
    -----
    The mean is the mean of group means, so a run with more readings counts no more. A
    negative between-group component is reported as zero, as usual.
    """
    arrays = [np.asarray(g, dtype=float) for g in groups if np.size(g)]
    if len(arrays) < 2:
        raise OutOfRange("Scatter between runs needs two runs.", "Make another run.")
    means = np.array([a.mean() for a in arrays])
    each = len(arrays) / sum(1.0 / a.size for a in arrays)
    between_of_means = float(means.var(ddof=1))
    df_within = sum(a.size - 1 for a in arrays)
    within = (
        float(sum(((a - a.mean()) ** 2).sum() for a in arrays)) / df_within if df_within else 0.0
    )
    between = max(0.0, between_of_means - within / each)
    return NestedVariance(
        mean=float(means.mean()), groups=len(arrays), values_per_group=float(each),
        between_mean_square=each * between_of_means, within_mean_square=within,
        within_degrees_of_freedom=df_within, between_variance=between,
    )


@dataclass(frozen=True)
class PositionEffect:
    """Whether vessels at some positions read differently, runs taken out as blocks.

    ``means`` are differences from the mean of all positions, in the unit of the values.
    """

    f_ratio: float
    p_value: float
    degrees_of_freedom: tuple[int, int]
    means: dict[int, float]
    residual_sd: float


def position_effect(values: Array) -> PositionEffect:
    """Effect of the vessel position, by least squares with runs as blocks.

    Parameters
    ----------
    values : [runs, positions] with NaN where nothing was measured; every run and position
        with a value must be linked to the others

    Raises
    ------
    OutOfRange
        when fewer than two runs or positions were measured, or they are not linked
    """
    y = np.asarray(values, dtype=float)
    runs = np.flatnonzero(np.isfinite(y).any(axis=1))
    places = np.flatnonzero(np.isfinite(y).any(axis=0))
    y = y[np.ix_(runs, places)]
    if min(y.shape) < 2:
        raise OutOfRange("Positions need two runs and two vessels.", "Measure more vessels.")
    run, place = np.nonzero(np.isfinite(y))
    observed = y[run, place] - np.nanmean(y)
    blocks = np.eye(len(runs))[run]
    contrast = np.vstack([np.eye(len(places) - 1), -np.ones(len(places) - 1)])
    full = np.hstack([blocks, contrast[place]])
    if np.linalg.matrix_rank(full) < full.shape[1]:
        raise OutOfRange("Some positions were never measured in the same run as others.",
                         "Measure all positions in at least one run.")
    df_effect, df_rest = len(places) - 1, observed.size - full.shape[1]
    if df_rest < 1:
        raise OutOfRange("No scatter is left to compare positions with.", "Make another run.")
    effects, rest = _least_squares(full, observed)
    _, rest_without = _least_squares(blocks, observed)
    shift = contrast @ effects[len(runs) :]
    is_exact = rest <= observed.size * (ROUNDING * float(np.nanmax(np.abs(y)))) ** 2
    mean_square = 0.0 if is_exact else rest / df_rest
    ratio = (rest_without - rest) / df_effect / mean_square if mean_square > 0 else math.nan
    return PositionEffect(
        f_ratio=float(ratio), p_value=float(f.sf(ratio, df_effect, df_rest)),
        degrees_of_freedom=(df_effect, df_rest),
        means={int(p) + 1: float(m) for p, m in zip(places, shift, strict=True)},
        residual_sd=math.sqrt(mean_square),
    )


def _least_squares(design: Array, observed: Array) -> tuple[Array, float]:
    """Coefficients and residual sum of squares."""
    found, *_ = np.linalg.lstsq(design, observed, rcond=None)
    rest = observed - design @ found
    return np.asarray(found), float(rest @ rest)
