"""Two liquid phases: whether the fill, or what is left while it boils, splits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.errors import Finding
from models.system import Array, LiquidSystem
from models.volatility import ln_pressure

TEMPERATURE = 303.15
STEPS = 40
CLEAR = 1.01
"""Tangent-plane measure above which a split is said; below it the model is not sure enough."""

MISCIBLE = {
    frozenset(("7732-18-5", "109-99-9")),  # water and tetrahydrofuran
    frozenset(("7732-18-5", "75-65-0")),  # water and tert-butanol
    frozenset(("7732-18-5", "75-05-8")),  # water and acetonitrile
}
"""Pairs that mix in all proportions at 20-60 degC although UNIFAC says otherwise (handbook
knowledge, from memory, high confidence)."""


def ln_gamma(system: LiquidSystem, x: Array, T: float) -> Array:
    """NRTL ln(gamma) [..., S] at mole fractions x [..., S] and T in K."""
    tau = system.nrtl_a + system.nrtl_b / T
    G = np.exp(-system.nrtl_alpha * tau)
    weight = x @ G
    mean = (x @ (tau * G)) / weight
    share = x / weight
    return np.asarray(mean + share @ (G * tau).T - (share * mean) @ G.T)


def splits(system: LiquidSystem, x: Array, T: float = TEMPERATURE) -> Array:
    """Whether liquids of mole fractions x [P, S] are unstable against a second phase, [P].

    Tangent-plane test of M. L. Michelsen, Fluid Phase Equilib. 9 (1982) 1, by successive
    substitution from every nearly pure component.
    """
    x = np.clip(np.atleast_2d(x), 1e-12, 1.0)
    n = x.shape[1]
    d = (np.log(x) + ln_gamma(system, x, T))[:, None, :]
    start = np.full((n, n), 0.02 / max(n - 1, 1))
    np.fill_diagonal(start, 0.98)
    w = np.broadcast_to(start, (len(x), n, n)).copy()
    for _ in range(100):
        total = w.sum(axis=-1, keepdims=True)
        fresh = np.exp(np.clip(d - ln_gamma(system, w / total, T), -60.0, 60.0))
        change = np.max(np.abs(fresh - w))
        w = fresh
        if change < 1e-6:
            break
    total = w.sum(axis=-1)
    apart = np.max(np.abs(w / total[..., None] - x[:, None, :]), axis=-1) > 1e-2
    return np.asarray(np.any((total > CLEAR) & apart, axis=-1))


def has_gap(system: LiquidSystem, cas: Sequence[str]) -> bool:
    """Whether any pair of solvents is unstable at some composition: only then look closer."""
    n = len(system.solvents)
    grid = np.linspace(0.01, 0.99, 50)
    for i in range(n):
        for j in range(i + 1, n):
            if frozenset((cas[i], cas[j])) in MISCIBLE:
                continue
            x = np.zeros((len(grid), n))
            x[:, i], x[:, j] = grid, 1.0 - grid
            if np.any(np.diff(np.log(grid) + ln_gamma(system, x, TEMPERATURE)[:, i]) < 0):
                return True
    return False


def _boiled_down(system: LiquidSystem) -> Array:
    """Mole fractions [P, S] from the fill on while it boils down at 303 K, keeper 1 %."""
    moles = system.fraction * system.density / system.molar_mass
    if system.has_keeper:
        moles = moles.copy()
        moles[-1] = 0.01 * system.density[-1] / system.molar_mass[-1]
    P = np.exp(ln_pressure(system.ln_p, TEMPERATURE))
    first, path = moles.sum(), []
    for _ in range(STEPS):
        x = moles / moles.sum()
        path.append(x)
        partial = x * np.exp(ln_gamma(system, x, TEMPERATURE)) * P
        share = partial / partial.sum()
        taken = share > 1e-12
        step = min(0.12 * moles.sum(), float(np.min(0.5 * moles[taken] / share[taken])))
        moles = moles - share * step
        if moles.sum() < 2e-3 * first:
            break
    return np.array(path)


def two_phase_finding(system: LiquidSystem, cas: Sequence[str]) -> Finding | None:
    """A finding when the fill splits, or splits while it is boiled down; else None.

    ``cas`` are the CAS numbers of the solvents of the system, keeper last.
    """
    if len(system.solvents) < 2 or not system.fraction.any() or not has_gap(system, cas):
        return None
    apart = splits(system, _boiled_down(system))
    if not apart.any():
        return None
    when = "The fill forms" if apart[0] else "While it boils down the liquid forms"
    return Finding(
        "two_phases", "caution",
        f"{when} two liquid phases ({', '.join(system.solvents)}); the forecast treats them as "
        "one, so boiling point and losses are less certain.",
        "Separate or dry the extract, or add a solvent that mixes with both.")
