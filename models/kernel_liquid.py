"""Compiled vapour-liquid equilibrium of the liquid in one vessel.

Boiling point of a single solvent from its table (cubic Hermite, consistent slope); of a
mixture by modified Raoult's law with NRTL activity coefficients (Renon & Prausnitz 1968,
AIChE J. 14:135); infinite-dilution activity coefficients of the analytes as
:class:`models.system.LiquidSystem` describes.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined
from models.kernel_data import H0, TRACE, Rig
from models.system import GAMMA_REFERENCE_TEMPERATURE, Array

STEP = 1e-5  # relative, of the difference quotients


@inlined
def boiling_point(ln_p: float, table: Array, rig: Rig) -> tuple[float, float]:
    """Temperature (K) and dT/dlnP (K) of a single solvent at ln(P/Pa)."""
    h = rig.ln_dp
    place = (ln_p - rig.ln_p0) / h
    i = int(place)
    i = min(max(i, 0), table.shape[0] - 2)
    s = place - i
    t0, t1 = table[i, 0], table[i + 1, 0]
    m0, m1 = table[i, 1] * h, table[i + 1, 1] * h
    d = t1 - t0
    a = m0 + m1 - 2.0 * d
    b = 3.0 * d - 2.0 * m0 - m1
    return t0 + s * (m0 + s * (b + s * a)), (m0 + s * (2.0 * b + 3.0 * s * a)) / h


@inlined
def ln_saturation(c: Array, j: int, temperature: float, ln_t: float) -> float:
    """Evaluate ln(P/Pa) from the first four columns of row j of ``pure`` or ``traces``."""
    return c[j, 0] + c[j, 1] / temperature + c[j, 2] * ln_t + c[j, 3] * temperature  # type: ignore[no-any-return]


@inlined
def vaporisation_enthalpy(pure: Array, j: int, temperature: float) -> float:
    """J/mol of solvent j."""
    return pure[j, H0] + temperature * (pure[j, H0 + 1] + temperature * pure[j, H0 + 2])  # type: ignore[no-any-return]


@inlined
def ln_gamma_nrtl(x: Array, temperature: float, pair: Array, out: Array, work: Array) -> None:
    """Write ln(gamma) [S] of the solvents into ``out``; ``work`` [3, S, S] is scratch."""
    n = x.shape[0]
    for i in range(n):
        for j in range(n):
            tau = pair[0, i, j] + pair[1, i, j] / temperature
            work[0, i, j] = tau
            work[1, i, j] = np.exp(-pair[2, i, j] * tau)
    for j in range(n):
        total, weighted = 0.0, 0.0
        for k in range(n):
            total += x[k] * work[1, k, j]
            weighted += x[k] * work[0, k, j] * work[1, k, j]
        work[2, 0, j] = total
        work[2, 1, j] = weighted / total
    for i in range(n):
        value = work[2, 1, i]
        for j in range(n):
            share = x[j] * work[1, i, j] / work[2, 0, j]
            value += share * (work[0, i, j] - work[2, 1, j])
        out[i] = value


@inlined
def partial_pressures(
    x: Array, temperature: float, pure: Array, pair: Array, ideal: bool, out: Array,
    gamma: Array, work: Array,
) -> tuple[float, float]:
    """Write x gamma P [S] into ``out``; give their sum (Pa) and d ln(sum)/dT at fixed gamma."""
    n = x.shape[0]
    if ideal:
        gamma[:] = 0.0
    else:
        ln_gamma_nrtl(x, temperature, pair, gamma, work)
    ln_t = np.log(temperature)
    total, slope = 0.0, 0.0
    for j in range(n):
        p = x[j] * np.exp(ln_saturation(pure, j, temperature, ln_t) + gamma[j])
        out[j] = p
        total += p
        slope += p * (pure[j, 3] + (pure[j, 2] - pure[j, 1] / temperature) / temperature)
    return total, slope / total


@inlined
def bubble_slopes(
    x: Array, temperature: float, pure: Array, pair: Array, ideal: bool, y: Array,
    scratch: Array, work: Array,
) -> tuple[float, float, float]:
    """Bubble pressure and how it changes.

    Parameters
    ----------
    x : [S] liquid mole fractions
    temperature : K
    pure, pair, ideal : the liquid
    y : [S], filled with vapour mole fractions
    scratch : [3, S]
    work : [3, S, S]

    Returns
    -------
    ln(P/Pa); d lnP/dT (1/K); d lnP/ds along x + s (x - y), the drift as the liquid boils
    """
    n = x.shape[0]
    total, slope = partial_pressures(
        x, temperature, pure, pair, ideal, y, scratch[0], work)
    ln_p = np.log(total)
    drift = 0.0
    for j in range(n):
        y[j] /= total
    if ideal:
        for j in range(n):
            if x[j] > 0.0:
                drift += y[j] / x[j] * (x[j] - y[j])
        return ln_p, slope, drift
    dt = STEP * temperature
    warmer, _ = partial_pressures(
        x, temperature + dt, pure, pair, ideal, scratch[1], scratch[0], work)
    slope = (np.log(warmer) - ln_p) / dt
    for j in range(n):
        scratch[2, j] = x[j] + STEP * (x[j] - y[j])
    drifted, _ = partial_pressures(
        scratch[2], temperature, pure, pair, ideal, scratch[1], scratch[0], work
    )
    drift = (np.log(drifted) - ln_p) / STEP
    return ln_p, slope, drift


@inlined
def bubble_temperature(
    x: Array, ln_p: float, guess: float, pure: Array, pair: Array, ideal: bool, y: Array,
    scratch: Array, work: Array,
) -> float:
    """Temperature (K) at which the mixture boils, by Newton's method from a guess (K)."""
    t = guess
    for _ in range(60):
        total, slope = partial_pressures(
            x, t, pure, pair, ideal, y, scratch[0], work)
        step = (ln_p - np.log(total)) / slope
        step = min(max(step, -40.0), 40.0)
        t += step
        if abs(step) < 1e-9 * t:
            break
    return t


@inlined
def ln_gamma_analyte(a: int, x: Array, temperature: float, traces: Array) -> float:
    """Evaluate ln(gamma) of analyte ``a`` at infinite dilution in the mixture x [S]."""
    n = x.shape[0]
    value = 0.0
    for j in range(n):
        value += x[j] * traces[a, TRACE + j]
        for k in range(j + 1, n):
            value += x[j] * x[k] * traces[a, TRACE + n + j * n + k]
    return value * GAMMA_REFERENCE_TEMPERATURE / temperature
