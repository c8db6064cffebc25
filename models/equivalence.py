"""Are two methods the same for practical purposes? Two one-sided tests.

Source: Schuirmann, J. Pharmacokinet. Biopharm. 15:657 (1987), recalled; the interval form
used here follows from it: equivalent when the (1 - 2 alpha) interval of the difference lies
inside the margin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t

from models.errors import OutOfRange
from models.system import Array


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests of a paired difference against a margin.

    ``low`` and ``high`` bound the difference at confidence 1 - 2 alpha; ``equivalent``
    when they lie inside -margin and +margin. ``p_value`` is the larger of the two.
    """

    estimate: float
    low: float
    high: float
    margin: float
    p_value: float
    pairs: int
    equivalent: bool


def paired(first: Array, second: Array, margin: float, alpha: float = 0.05) -> Equivalence:
    """Equivalence of two methods run side by side, one pair a day.

    Parameters
    ----------
    first, second : [days] mean of each method on each day, same days in the same order
    margin : largest difference that does not matter, in the unit of the values, above 0
    alpha : chance of calling methods equivalent whose difference is the margin
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if a.shape != b.shape or a.ndim != 1:
        raise OutOfRange("The two methods were not run on the same days.",
                         "Give one mean a day for each.")
    if a.size < 2 or not np.isfinite(a - b).all():
        raise OutOfRange("Fewer than two complete days cannot be compared.", "Add days.")
    if not margin > 0.0:
        raise OutOfRange(f"A margin of {margin:g} is not possible.",
                         "Give the largest difference that does not matter.")
    d = b - a
    estimate, error = float(d.mean()), float(d.std(ddof=1)) / math.sqrt(d.size)
    reach = float(t.ppf(1.0 - alpha, d.size - 1)) * error
    if error > 0.0:
        closest = margin - abs(estimate)
        p_value = float(t.sf(closest / error, d.size - 1))
    else:
        p_value = 0.0 if abs(estimate) < margin else 1.0
    low, high = estimate - reach, estimate + reach
    return Equivalence(
        estimate, low, high, margin, p_value, int(d.size), -margin < low and high < margin
    )
