"""Two liquid phases: whether the fill, or what is left while it boils, splits."""

from __future__ import annotations

import numpy as np

from models.errors import Finding
from models.system import Array, LiquidSystem
from models.volatility import ln_pressure

TEMPERATURE = 303.15


def _ln_gamma(system: LiquidSystem, x: Array, T: float) -> Array:
    tau = system.nrtl_a + system.nrtl_b / T
    G = np.exp(-system.nrtl_alpha * tau)
    weight = x @ G
    mean = (x @ (tau * G)) / weight
    return np.asarray(mean + (G / weight * (tau - mean)) @ x)


def splits(system: LiquidSystem, x: Array, T: float = TEMPERATURE) -> bool:
    """Whether a liquid of mole fractions x [S] is unstable against a second liquid phase.

    Tangent-plane test of M. L. Michelsen, Fluid Phase Equilib. 9 (1982) 1, started from every
    nearly pure component.
    """
    x = np.clip(x, 1e-12, 1.0)
    d = np.log(x) + _ln_gamma(system, x, T)
    for k in range(len(x)):
        if not system.nrtl_b[k].any() and not system.nrtl_a[k].any():
            continue
        w = np.full(len(x), 0.02 / max(len(x) - 1, 1))
        w[k] = 0.98
        for _ in range(60):
            fresh = np.exp(d - _ln_gamma(system, w / w.sum(), T))
            done = np.max(np.abs(fresh - w)) < 1e-7
            w = fresh
            if done:
                break
        if w.sum() > 1.0 + 1e-4 and np.max(np.abs(w / w.sum() - x)) > 1e-2:
            return True
    return False


def _has_gap(system: LiquidSystem) -> bool:
    """Whether any pair is unstable at some composition: only then look closer."""
    n = len(system.solvents)
    grid = np.linspace(0.02, 0.98, 33)
    for i in range(n):
        for j in range(i + 1, n):
            tau = system.nrtl_a[[i, j], [j, i]] + system.nrtl_b[[i, j], [j, i]] / TEMPERATURE
            g1, g2 = np.exp(-system.nrtl_alpha[i, j] * tau)
            x2 = 1.0 - grid
            ln1 = x2**2 * (tau[1] * (g2 / (grid + x2 * g2)) ** 2
                           + tau[0] * g1 / (x2 + grid * g1) ** 2)
            if np.any(np.diff(np.log(grid) + ln1) < 0):
                return True
    return False


def two_phase_finding(system: LiquidSystem) -> Finding | None:
    """A finding when the fill splits, or splits while it is boiled down; else None."""
    if len(system.solvents) < 2 or not _has_gap(system):
        return None
    moles = system.fraction * system.density / system.molar_mass
    if system.has_keeper:
        moles = moles.copy()
        moles[-1] = 0.01 * system.density[-1] / system.molar_mass[-1]
    for step in range(40):
        x = moles / moles.sum()
        if splits(system, x):
            when = "The fill forms" if step == 0 else "On the way down the liquid forms"
            return Finding(
                "two_phases", "caution",
                f"{when} two liquid phases ({', '.join(system.solvents)}); the forecast treats "
                "them as one, so boiling point and losses are less certain.",
                "Separate or dry the extract, or add a solvent that mixes with both.")
        partial = x * np.exp(_ln_gamma(system, x, TEMPERATURE)
                             + ln_pressure(system.ln_p, TEMPERATURE))
        share = partial / partial.sum()
        with np.errstate(divide="ignore", invalid="ignore"):
            limits = np.where(share > 1e-12, 0.5 * moles / share, np.inf)
        moles = moles - share * min(0.12 * moles.sum(), float(np.min(limits)))
        if moles.sum() < 1e-3 * float((system.density / system.molar_mass).mean()):
            break
    return None
