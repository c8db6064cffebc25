"""Pairs of solvents: NRTL parameters fitted to UNIFAC and to known azeotropes.

H. Renon and J. M. Prausnitz, AIChE J. 14 (1968) 135; tau = a + b/T, one alpha a pair.
The usual pairs are in ``data/nrtl.csv``; others are fitted when first needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.activity import MODELS, covers, group_model
from models.quantities import ZERO_CELSIUS
from models.substances import Substance, read_table
from models.system import Array
from models.volatility import ln_pressure

TEMPERATURES = (280.0, 320.0, 360.0)
COMPOSITIONS = np.array([0.003, 0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95, 0.997])


@dataclass(frozen=True)
class PairParameters:
    """NRTL of one pair; ``model`` is "dortmund", "original" or "ideal"."""

    model: str
    a: tuple[float, float]
    b: tuple[float, float]
    alpha: float
    misfit: float

    def reversed(self) -> PairParameters:
        """The same pair named the other way round."""
        return PairParameters(self.model, self.a[::-1], self.b[::-1], self.alpha, self.misfit)


def ln_gamma_pair(x1: Array, tau12: Array, tau21: Array, alpha: float) -> tuple[Array, Array]:
    """ln(gamma) of both components of a binary NRTL mixture (Renon & Prausnitz 1968).

    Parameters
    ----------
    x1 : mole fraction of the first component; tau12, tau21 of its shape, or numbers
    alpha : non-randomness

    Returns
    -------
    two arrays of the shape of ``x1``
    """
    x2 = 1.0 - x1
    G12, G21 = np.exp(-alpha * tau12), np.exp(-alpha * tau21)
    first = x2**2 * (tau21 * (G21 / (x1 + x2 * G21)) ** 2
                     + tau12 * G12 / (x2 + x1 * G12) ** 2)
    second = x1**2 * (tau12 * (G12 / (x2 + x1 * G12)) ** 2
                      + tau21 * G21 / (x1 + x2 * G21) ** 2)
    return first, second


def _azeotropes(first: Substance, second: Substance) -> list[tuple[float, float, float, float]]:
    """(T, x1, weight, P) of every cited azeotrope of the pair."""
    found = []
    for row in _azeotrope_table():
        if float(row["weight"]) == 0.0:
            continue
        for one, two, swap in ((first, second, False), (second, first, True)):
            if row["first"] == one.name and row["second"] == two.name:
                x = float(row["x_first"])
                found.append((float(row["temperature_c"]) + ZERO_CELSIUS,
                              1.0 - x if swap else x, float(row["weight"]),
                              float(row["pressure_pa"])))
    return found


@lru_cache(maxsize=1)
def _azeotrope_table() -> list[dict[str, str]]:
    return read_table("azeotropes.csv")


def fit_pair(first: Substance, second: Substance) -> PairParameters:
    """Fit NRTL to the best UNIFAC that covers the pair, and to its azeotrope if one is cited."""
    from scipy.optimize import least_squares

    name = next((m for m in MODELS if covers((first, second), m)), "")
    azeotropes = _azeotropes(first, second)
    if not name and not azeotropes:
        return PairParameters("ideal", (0.0, 0.0), (0.0, 0.0), 0.3, 0.0)
    T = np.repeat(TEMPERATURES, len(COMPOSITIONS))
    x = np.tile(COMPOSITIONS, len(TEMPERATURES))
    target = np.zeros((2, len(T)))
    weight = np.full(len(T), 0.2)
    if name:
        weight[:] = 1.0
        model = group_model((first, second), name)  # type: ignore[arg-type]
        for t in TEMPERATURES:
            at = t == T
            target[:, at] = model.ln_gamma(np.stack([x[at], 1 - x[at]], axis=-1), t).T
    if azeotropes:
        T = np.append(T, [a[0] for a in azeotropes])
        x = np.append(x, [a[1] for a in azeotropes])
        weight = np.append(weight, [a[2] for a in azeotropes])
        known = [
            [np.log(a[3]) - float(ln_pressure(s.ln_p, a[0])) for a in azeotropes]
            for s in (first, second)
        ]
        target = np.concatenate([target, np.array(known)], axis=1)
    scale = weight / (0.05 + 0.15 * np.abs(target))

    def residuals(p: Array) -> Array:
        g = ln_gamma_pair(x, p[0] + p[2] * 100 / T, p[1] + p[3] * 100 / T, alpha)
        return np.asarray(((np.array(g) - target) * scale).ravel())

    best: tuple[float, Array, float] | None = None
    good = 0.5 * target.size * 0.2**2
    for alpha in (0.3, 0.2, 0.45):
        for start in ((0.3, 0.3, 0.5, 0.5), (2.0, -0.5, 0.0, 0.0), (-0.5, 2.0, 0.0, 0.0)):
            if best is not None and best[0] < good:
                break
            found = least_squares(residuals, np.array(start), method="lm", max_nfev=200)
            if np.max(np.abs(found.x)) < 40 and (best is None or found.cost < 0.9 * best[0]):
                best = (float(found.cost), found.x, alpha)
    if best is None:
        return PairParameters("ideal", (0.0, 0.0), (0.0, 0.0), 0.3, 0.0)
    _, p, alpha = best
    g = ln_gamma_pair(x, p[0] + p[2] * 100 / T, p[1] + p[3] * 100 / T, alpha)
    misfit = float(np.sqrt(np.mean((np.array(g) - target) ** 2)))
    a, b = (float(p[0]), float(p[1])), (100 * float(p[2]), 100 * float(p[3]))
    return PairParameters(name or "azeotrope", a, b, alpha, misfit)


@lru_cache(maxsize=1)
def _packaged() -> dict[tuple[str, str], PairParameters]:
    return {
        (row["first"], row["second"]): PairParameters(
            row["model"], (float(row["a12"]), float(row["a21"])),
            (float(row["b12"]), float(row["b21"])), float(row["alpha"]), float(row["misfit"]))
        for row in read_table("nrtl.csv")
    }


_fitted: dict[tuple[str, str], PairParameters] = {}


def pair_parameters(first: Substance, second: Substance) -> PairParameters:
    """NRTL of a pair from the table, else fitted once."""
    table = _packaged()
    if (first.name, second.name) in table:
        return table[first.name, second.name]
    if (second.name, first.name) in table:
        return table[second.name, first.name].reversed()
    key = (first.cas, second.cas)
    if key not in _fitted:
        _fitted[key] = fit_pair(first, second)
    return _fitted[key]
