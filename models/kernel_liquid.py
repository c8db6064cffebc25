"""Compiled vapour-liquid equilibrium of the liquid in one vessel.

Boiling point of a single solvent from its table (cubic Hermite, consistent slope); of a
mixture by modified Raoult's law with NRTL activity coefficients (Renon & Prausnitz 1968,
AIChE J. 14:135); infinite-dilution activity coefficients of the analytes as
:class:`models.system.LiquidSystem` describes.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined, kernel
from models.kernel_data import H0, TRACE, Liquid, Rig
from models.system import GAMMA_REFERENCE_TEMPERATURE, Array


@inlined
def boiling_point(ln_p: float, liquid: Liquid, rig: Rig) -> tuple[float, float]:
    """Temperature (K) and dT/dlnP (K) of a single solvent at ln(P/Pa)."""
    table = liquid.table
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
    return c[j, 0] + c[j, 1] / temperature + c[j, 2] * ln_t + c[j, 3] * temperature


@inlined
def ln_saturation_slope(c: Array, j: int, temperature: float) -> float:
    """Evaluate d ln(P)/dT, 1/K, for row j."""
    return c[j, 3] + (c[j, 2] - c[j, 1] / temperature) / temperature


@inlined
def vaporisation_enthalpy(pure: Array, j: int, temperature: float) -> float:
    """J/mol of solvent j."""
    return pure[j, H0] + temperature * (pure[j, H0 + 1] + temperature * pure[j, H0 + 2])


@inlined
def ln_gamma_nrtl(x: Array, temperature: float, pair: Array, out: Array, work: Array) -> None:
    """Write ln(gamma) [S] into ``out``.

    ``work`` [3, S, S] keeps tau, G, and in its third layer the sums
    C_j = sum x_k G_kj and E_j = sum x_k tau_kj G_kj / C_j for :func:`nrtl_change`.
    """
    n = x.shape[0]
    for i in range(n):
        for j in range(n):
            if i == j:
                work[0, i, j], work[1, i, j] = 0.0, 1.0
                continue
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
            value += x[j] * work[1, i, j] / work[2, 0, j] * (work[0, i, j] - work[2, 1, j])
        out[i] = value


@kernel
def nrtl_change(x: Array, dx: Array, temperature: float, by_t: bool, y: Array, pair: Array,
                work: Array, scratch: Array) -> float:
    """Sum of y_i d ln(gamma_i) along ``dx`` (per unit), or with temperature (1/K).

    Parameters
    ----------
    x, dx, y : [S] mole fractions, direction (not used with ``by_t``), weights
    temperature : K
    pair, work : of the last :func:`ln_gamma_nrtl` at x and temperature
    scratch : [2, S] and more
    """
    n = x.shape[0]
    warm = -1.0 / (temperature * temperature) if by_t else 0.0
    move = 0.0 if by_t else 1.0
    for j in range(n):
        d_total, d_weighted = 0.0, 0.0
        for k in range(n):
            tau, g = work[0, k, j], work[1, k, j]
            d_tau = warm * pair[1, k, j] if k != j else 0.0
            d_g = -pair[2, k, j] * g * d_tau
            d_total += move * dx[k] * g + x[k] * d_g
            d_weighted += move * dx[k] * tau * g + x[k] * (d_tau * g + tau * d_g)
        scratch[0, j] = d_total / work[2, 0, j]
        scratch[1, j] = (d_weighted - work[2, 1, j] * d_total) / work[2, 0, j]
    change = 0.0
    for i in range(n):
        value = scratch[1, i]
        for j in range(n):
            g = work[1, i, j]
            d_tau = warm * pair[1, i, j] if i != j else 0.0
            d_g = -pair[2, i, j] * g * d_tau
            share = x[j] * g / work[2, 0, j]
            d_share = (move * dx[j] * g + x[j] * d_g) / work[2, 0, j] - share * scratch[0, j]
            value += d_share * (work[0, i, j] - work[2, 1, j])
            value += share * (d_tau - scratch[1, j])
        change += y[i] * value
    return change


@inlined
def partial_pressures(
    x: Array, temperature: float, liquid: Liquid, rig: Rig, out: Array, gamma: Array,
    work: Array,
) -> tuple[float, float]:
    """Write x gamma P [S] into ``out``; give their sum (Pa) and d ln(sum)/dT at fixed gamma."""
    n = x.shape[0]
    if rig.ideal:
        for j in range(n):
            gamma[j] = 0.0
    else:
        ln_gamma_nrtl(x, temperature, liquid.pair, gamma, work)
    ln_t = np.log(temperature)
    total, slope = 0.0, 0.0
    for j in range(n):
        p = x[j] * np.exp(ln_saturation(liquid.pure, j, temperature, ln_t) + gamma[j])
        out[j] = p
        total += p
        slope += p * ln_saturation_slope(liquid.pure, j, temperature)
    return total, slope / total


@inlined
def bubble_slopes(
    x: Array, temperature: float, liquid: Liquid, rig: Rig, y: Array, scratch: Array,
    work: Array,
) -> tuple[float, float, float]:
    """Bubble pressure and how it changes.

    Parameters
    ----------
    x : [S] liquid mole fractions
    temperature : K
    y : [S], filled with vapour mole fractions
    scratch, work : [4, S] and more, [3, S, S]

    Returns
    -------
    ln(P/Pa); d lnP/dT (1/K); d lnP/ds along x + s (x - y), the drift as the liquid boils
    """
    n = x.shape[0]
    total, slope = partial_pressures(x, temperature, liquid, rig, y, scratch[0], work)
    drift = 0.0
    for j in range(n):
        y[j] /= total
        scratch[1, j] = x[j] - y[j]
        if x[j] > 0.0:
            drift += y[j] / x[j] * scratch[1, j]
    if not rig.ideal:
        slope += nrtl_change(
            x, scratch[1], temperature, True, y, liquid.pair, work, scratch[2:4])
        drift += nrtl_change(
            x, scratch[1], temperature, False, y, liquid.pair, work, scratch[2:4])
    return np.log(total), slope, drift


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
