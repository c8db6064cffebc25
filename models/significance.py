"""Are two means, or many, different? Confidence limits, Welch, Holm, Dunnett, regression.

Sources: Welch, Biometrika 34:28 (1947); Holm, Scand. J. Stat. 6:65 (1979); Dunnett,
J. Am. Stat. Assoc. 50:1096 (1955), through SciPy's implementation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import dunnett, t

from models.errors import OutOfRange
from models.system import Array


@dataclass(frozen=True)
class Difference:
    """A difference of two means with its confidence interval and p-value."""

    estimate: float
    low: float
    high: float
    p_value: float
    degrees_of_freedom: float


@dataclass(frozen=True)
class MeanLimit:
    """A mean, its standard error and a one-sided confidence limit below it."""

    mean: float
    standard_error: float
    degrees_of_freedom: float
    lower: float


def lower_limit(values: Array, confidence: float = 0.95) -> MeanLimit:
    """One-sided lower confidence limit of the mean of independent values, by Student's t.

    Parameters
    ----------
    values : [n] independent values, n >= 2; vessels of one run are not independent, their
        means are
    confidence : one-sided, between 0 and 1
    """
    x = _sample(values)
    error = float(x.std(ddof=1)) / math.sqrt(x.size)
    limit = float(x.mean()) - float(t.ppf(confidence, x.size - 1)) * error
    return MeanLimit(float(x.mean()), error, x.size - 1, limit)


def welch(first: Array, second: Array, confidence: float = 0.95) -> Difference:
    """Mean of ``second`` minus mean of ``first``, variances not assumed equal (Welch 1947).

    Parameters
    ----------
    first, second : [n], [m] independent values, at least two each
    confidence : of the two-sided interval
    """
    a, b = _sample(first), _sample(second)
    share_a, share_b = a.var(ddof=1) / a.size, b.var(ddof=1) / b.size
    error = math.sqrt(share_a + share_b)
    if error == 0.0:
        raise OutOfRange("The values do not scatter at all.",
                         "Enter the readings as measured, not rounded to one value.")
    degrees = (share_a + share_b) ** 2 / (
        share_a**2 / (a.size - 1) + share_b**2 / (b.size - 1)
    )
    return difference(float(b.mean() - a.mean()), error, float(degrees), confidence)


def difference(
    estimate: float, error: float, degrees_of_freedom: float, confidence: float = 0.95
) -> Difference:
    """A difference from its standard error; infinite degrees give the normal interval."""
    reach = float(t.ppf(0.5 * (1.0 + confidence), degrees_of_freedom)) * error
    p_value = 2.0 * float(t.sf(abs(estimate) / error, degrees_of_freedom))
    return Difference(estimate, estimate - reach, estimate + reach, p_value, degrees_of_freedom)


def holm(p_values: Sequence[float]) -> list[float]:
    """p-values corrected for how many were looked at (Holm 1979), in the given order.

    Examples
    --------
    >>> [round(p, 4) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    order = np.argsort(p_values, kind="stable")
    corrected = [0.0] * len(order)
    largest = 0.0
    for rank, index in enumerate(order):
        largest = max(largest, min(1.0, (len(order) - rank) * float(p_values[index])))
        corrected[int(index)] = largest
    return corrected


@dataclass(frozen=True)
class AgainstReference:
    """One setting against the reference: t and p corrected for all comparisons."""

    estimate: float
    low: float
    high: float
    statistic: float
    p_value: float


def many_to_one(
    settings: Sequence[Array], reference: Array, confidence: float = 0.95, seed: int = 0
) -> list[AgainstReference]:
    """Each setting's mean minus the reference's, at joint confidence (Dunnett 1955).

    Parameters
    ----------
    settings : arrays [n_i] of independent values, at least two each
    reference : [n] values of the reference
    seed : of the numerical integration, so that the same data give the same p-values
    """
    samples = [_sample(s) for s in settings]
    found = dunnett(*samples, control=_sample(reference), rng=np.random.default_rng(seed))
    interval = found.confidence_interval(confidence)
    estimates = [float(s.mean() - np.mean(reference)) for s in samples]
    rows = zip(estimates, interval.low, interval.high, found.statistic, found.pvalue, strict=True)
    return [AgainstReference(*map(float, row)) for row in rows]


@dataclass(frozen=True)
class StraightLine:
    """Least-squares line with its standard errors."""

    intercept: float
    slope: float
    intercept_error: float
    slope_error: float
    residual_sd: float
    r_squared: float


def straight_line(x: Array, y: Array) -> StraightLine:
    """Least-squares line of y on x, sums taken about the means to keep digits.

    Parameters
    ----------
    x, y : [n] with n >= 3 and x not all alike
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.size != y.size or x.size < 3 or np.ptp(x) == 0.0:
        raise OutOfRange("A line needs three points at two different places.", "Add points.")
    dx, dy = x - x.mean(), y - y.mean()
    sxx = math.fsum(dx * dx)
    slope = math.fsum(dx * dy) / sxx
    intercept = float(y.mean() - slope * x.mean())
    rest = math.fsum((dy - slope * dx) ** 2)
    variance = rest / (x.size - 2)
    total = math.fsum(dy * dy)
    return StraightLine(
        intercept=intercept, slope=slope,
        intercept_error=math.sqrt(variance * (1.0 / x.size + x.mean() ** 2 / sxx)),
        slope_error=math.sqrt(variance / sxx), residual_sd=math.sqrt(variance),
        r_squared=1.0 - rest / total if total else 1.0,
    )


def _sample(values: Array) -> Array:
    """Finite values, at least two; anything else is an error, not a gap."""
    x = np.asarray(values, dtype=float).ravel()
    if x.size < 2:
        raise OutOfRange(f"{x.size} values have no scatter.", "Make at least two runs.")
    if not np.isfinite(x).all():
        raise OutOfRange("A value is not finite.", "Leave out what was not measured.")
    return x
