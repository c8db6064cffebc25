"""Tolerance factors of a normal sample: limits that hold a share of all future values.

========== ==================================================== =========
symbol     meaning                                              shape
========== ==================================================== =========
n          values, or the effective number of them              scalar
nu         degrees of freedom of the standard deviation         scalar
p          share of the population the limit is to hold         scalar
gamma      confidence that it does                              scalar
k          factor: limit = mean - k s, or mean -/+ k s          scalar
========== ==================================================== =========

Sources: ISO 16269-6 (statistical tolerance intervals); Howe, J. Am. Stat. Assoc. 64:610
(1969); Natrella, Experimental Statistics (1963), as given in the NIST/SEMATECH e-Handbook
section 7.2.6.3; Mee & Owen, J. Am. Stat. Assoc. 78:901 (1983) for runs with vessels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, f, nct, norm

from models.errors import OutOfRange
from models.system import Array
from models.variance import NestedVariance

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)


def one_sided_factor(
    n: float, coverage: float, confidence: float, degrees_of_freedom: float | None = None
) -> float:
    """Exact factor k of a one-sided limit, by the non-central t distribution.

    Parameters
    ----------
    n : values behind the mean, or their effective number (> 1 without own degrees)
    coverage : share of the population, between 0 and 1
    confidence : between 0 and 1
    degrees_of_freedom : of the standard deviation; n - 1 when not given

    Examples
    --------
    >>> round(one_sided_factor(6, 0.95, 0.95), 4)
    3.7077
    """
    nu = _check(n, coverage, confidence, degrees_of_freedom)
    root = math.sqrt(n)
    return float(nct.ppf(confidence, nu, root * norm.ppf(coverage)) / root)


def two_sided_factor(
    n: float, coverage: float, confidence: float, degrees_of_freedom: float | None = None
) -> float:
    """Exact factor k of a two-sided interval mean -/+ k s (ISO 16269-6, exact tables).

    The confidence is averaged over the distance of the sample mean from the true one, at
    each of which the half-width that holds ``coverage`` is known.

    Examples
    --------
    >>> round(two_sided_factor(10, 0.95, 0.95), 4)
    3.3934
    """
    nu = _check(n, coverage, confidence, degrees_of_freedom)
    reach = 9.0 / math.sqrt(n)
    shift = 0.5 * reach * (_NODES + 1.0)
    weight = reach * _WEIGHTS * norm.pdf(shift, scale=1.0 / math.sqrt(n))
    half_width = np.array([_half_width(x, coverage) for x in shift])

    def shortfall(k: float) -> float:
        return float(np.sum(weight * chi2.sf(nu * (half_width / k) ** 2, nu))) - confidence

    guess = howe_factor(n, coverage, confidence, nu)
    return float(brentq(shortfall, 0.5 * guess, 2.0 * guess, xtol=1e-10))


def howe_factor(
    n: float, coverage: float, confidence: float, degrees_of_freedom: float | None = None
) -> float:
    """Howe's approximation to the two-sided factor (Howe 1969; NIST 7.2.6.3).

    Examples
    --------
    >>> round(howe_factor(43, 0.90, 0.99), 4)
    2.2173
    """
    nu = _check(n, coverage, confidence, degrees_of_freedom)
    spread = nu * (1.0 + 1.0 / n) / chi2.ppf(1.0 - confidence, nu)
    return float(norm.ppf(0.5 * (1.0 + coverage)) * math.sqrt(spread))


def approximate_one_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """Natrella's approximation to the one-sided factor (NIST 7.2.6.3).

    Kept to compare with published tables that used it; decisions use the exact factor.

    Examples
    --------
    >>> round(approximate_one_sided_factor(43, 0.90, 0.99), 4)
    1.8752
    """
    _check(n, coverage, confidence, None)
    z_p, z_gamma = norm.ppf(coverage), norm.ppf(confidence)
    a = 1.0 - z_gamma**2 / (2.0 * (n - 1))
    b = z_p**2 - z_gamma**2 / n
    return float((z_p + math.sqrt(z_p**2 - a * b)) / a)


@dataclass(frozen=True)
class NestedLimit:
    """A lower limit for single vessels of future runs, and how it was made."""

    limit: float
    factor: float
    effective_n: float
    degrees_of_freedom: float


def nested_lower_limit(
    variance: NestedVariance, coverage: float, confidence: float
) -> NestedLimit:
    """Lower tolerance limit for a single vessel of a future run (Mee & Owen 1983).

    Vessels of one run share its effect, so a plain factor on all vessels would be too
    small. The ratio of the two variances is taken at an upper confidence point, which
    keeps the true confidence at or above the nominal one.

    Parameters
    ----------
    variance : mean and components of runs with vessels (:func:`models.variance.nested`)
    coverage : share of future vessels to lie above the limit
    confidence : that they do
    """
    runs, each = variance.groups, variance.values_per_group
    if runs < 2:
        raise OutOfRange("One run gives no tolerance limit.", "Make at least two runs.")
    within = variance.within_mean_square
    observed = variance.between_mean_square / max(within, 1e-300)
    shape = _nested_shape(np.array(observed), runs, each, variance.within_degrees_of_freedom,
                          confidence)
    factor = one_sided_factor(float(shape.effective), coverage, confidence, float(shape.degrees))
    total = variance.between_mean_square / each + (1.0 - 1.0 / each) * within
    return NestedLimit(variance.mean - factor * math.sqrt(total), factor,
                       float(shape.effective), float(shape.degrees))


def nested_factors(
    observed: Array, runs: int, each: float, within_degrees: float, coverage: float,
    confidence: float,
) -> Array:
    """Factors of :func:`nested_lower_limit` for many sets of runs at once.

    Parameters
    ----------
    observed : [S] mean square between runs over the one within
    runs, each, within_degrees : runs, readings a run, degrees of freedom within

    Returns
    -------
    factors [S]; beyond a few dozen sets interpolated in ln(observed), to 1e-3
    """
    ratios = np.clip(np.asarray(observed, dtype=float), 1e-3, 1e9)
    grid = ratios if ratios.size <= 48 else np.geomspace(ratios.min(), ratios.max(), 48)
    shape = _nested_shape(grid, runs, each, within_degrees, confidence)
    root = np.sqrt(shape.effective)
    factors = nct.ppf(confidence, shape.degrees, root * norm.ppf(coverage)) / root
    return np.asarray(
        factors if grid is ratios else np.interp(np.log(ratios), np.log(grid), factors)
    )


@dataclass(frozen=True, eq=False)
class _NestedShape:
    effective: Array
    degrees: Array


def _nested_shape(
    observed: Array, runs: int, each: float, within_degrees: float, confidence: float
) -> _NestedShape:
    """Effective number of values and degrees of freedom from the ratio of mean squares."""
    if each <= 1.0 + 1e-9 or within_degrees < 1:
        alike = np.ones_like(observed)
        return _NestedShape(runs * alike, (runs - 1) * alike)
    reach = float(f.ppf(1.0 - _ratio_confidence(confidence), runs - 1, within_degrees))
    ratio = np.maximum(0.0, (observed / reach - 1.0) / each)
    effective = runs * each * (ratio + 1.0) / (each * ratio + 1.0)
    degrees = (ratio + 1.0) ** 2 / (
        (ratio + 1.0 / each) ** 2 / (runs - 1) + (1.0 - 1.0 / each) / (runs * each)
    )
    return _NestedShape(effective, degrees)


def _ratio_confidence(confidence: float) -> float:
    """Confidence of the variance ratio that keeps the limit's own.

    Mee & Owen's choice, recalled from memory; a simulation in the tests holds it to its
    promise.
    """
    return 0.85 if confidence <= 0.925 else 0.905 if confidence <= 0.97 else 0.975


def _half_width(shift: float, coverage: float) -> float:
    """Half-width around ``shift`` (in standard deviations) that holds ``coverage``."""

    def missing(r: float) -> float:
        return float(norm.cdf(shift + r) - norm.cdf(shift - r)) - coverage

    return float(brentq(missing, 0.0, shift + 12.0, xtol=1e-13))


def _check(
    n: float, coverage: float, confidence: float, degrees_of_freedom: float | None
) -> float:
    """Degrees of freedom to use; OutOfRange when the question has no answer."""
    nu = n - 1.0 if degrees_of_freedom is None else degrees_of_freedom
    if not (0.0 < coverage < 1.0 and 0.0 < confidence < 1.0):
        raise OutOfRange(
            f"Coverage {coverage:g} and confidence {confidence:g} must lie between 0 and 1.",
            "Use shares such as 0.95.",
        )
    if not (n >= 1.0 and nu > 0.0 and math.isfinite(n)):
        raise OutOfRange(f"{n:g} values give no tolerance limit.", "Make at least two runs.")
    return nu
