"""Two liquids that boil together: their compositions, boiling point and vapour.

Between the compositions of the two liquids the boiling point and the vapour do not depend on
how much there is of either (three phases, two components: one temperature at one pressure).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.liquid_phases import ln_gamma
from models.system import Array, LiquidSystem
from models.volatility import ln_pressure

LOGIT = np.linspace(-23.0, 23.0, 1201)
"""Where the Gibbs energy of mixing is looked at: mole fractions from 1e-10 on, as logits."""
LEAST_GAP = 0.02
"""Mole fraction; liquids nearer to each other are one as far as UNIFAC can tell."""
EXACT = 1e-8


@dataclass(frozen=True, eq=False)
class TwoLiquids:
    """Two liquids of a binary boiling at temperature (K).

    ``low`` and ``high`` are the mole fractions of the first component in the two liquids,
    ``y`` [2] the mole fractions of the vapour over them, ``activity`` [2] is common to both.
    """

    temperature: float
    low: float
    high: float
    y: Array
    activity: Array

    def holds(self, x: float) -> bool:
        """Whether a mixture with mole fraction x of the first component parts into them."""
        return self.low < x < self.high


def boiling_together(system: LiquidSystem, pressure: float, start: float) -> TwoLiquids | None:
    """The two liquids of a binary that boil at a pressure in Pa; None where they mix.

    Parameters
    ----------
    start : K, a guess of the boiling point
    """
    T = start
    for _ in range(60):
        found = coexisting(system, T)
        if found is None:
            return None
        low, high = found
        x = np.array([low, 1.0 - low])
        activity = x * np.exp(ln_gamma(system, x, T))
        fresh = _boiling_at(system, activity, pressure, T)
        if abs(fresh - T) < EXACT:
            partial = activity * np.exp(ln_pressure(system.ln_p, fresh))
            return TwoLiquids(fresh, low, high, partial / partial.sum(), activity)
        T = fresh
    return None


def coexisting(system: LiquidSystem, T: float) -> tuple[float, float] | None:
    """Mole fractions of the first component in two liquids in equilibrium at T (K), or None.

    They start at the longest edge of the convex hull of the Gibbs energy of mixing; equal
    activities of both components then make them exact.
    """
    from scipy.optimize import root  # slow to load, and needed only where liquids do not mix

    x1 = 1.0 / (1.0 + np.exp(-LOGIT))
    ln_x = _ln_fractions(LOGIT)
    energy = np.sum(np.exp(ln_x) * (ln_x + ln_gamma(system, np.exp(ln_x), T)), axis=1)
    hull: list[int] = []
    for i in range(len(x1)):
        while len(hull) > 1 and _is_above(x1, energy, hull[-2], hull[-1], i):
            hull.pop()
        hull.append(i)
    widest = max(range(len(hull) - 1), key=lambda k: x1[hull[k + 1]] - x1[hull[k]])
    ends = hull[widest], hull[widest + 1]
    if ends[1] - ends[0] < 2 or x1[ends[1]] - x1[ends[0]] < LEAST_GAP:
        return None

    def unequal(logits: Array) -> Array:
        both = _ln_fractions(logits)
        activity = both + ln_gamma(system, np.exp(both), T)
        return np.asarray(activity[0] - activity[1])

    exact = root(unequal, LOGIT[list(ends)], tol=1e-12)
    low, high = np.sort(1.0 / (1.0 + np.exp(-exact.x)))
    good = np.max(np.abs(unequal(exact.x))) < EXACT and high - low >= LEAST_GAP
    return (float(low), float(high)) if good else None


def _ln_fractions(logits: Array) -> Array:
    """Ln of the mole fractions [..., 2] of both components."""
    return -np.stack([np.logaddexp(0.0, -logits), np.logaddexp(0.0, logits)], axis=-1)


def _is_above(x: Array, g: Array, a: int, b: int, c: int) -> bool:
    """Whether point b lies on or above the line from a to c."""
    return bool((g[b] - g[a]) * (x[c] - x[a]) >= (g[c] - g[a]) * (x[b] - x[a]))


def _boiling_at(system: LiquidSystem, activity: Array, pressure: float, start: float) -> float:
    """Temperature (K) at which liquids of these activities boil at a pressure in Pa."""
    T, step = start, 1e-3
    for _ in range(50):
        now, then = (math.log(float(activity @ np.exp(ln_pressure(system.ln_p, t))) / pressure)
                     for t in (T, T + step))
        change = -now * step / (then - now)
        T += max(min(change, 30.0), -30.0)
        if abs(change) < 0.1 * EXACT:
            break
    return T
