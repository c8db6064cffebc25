"""Compiled vapour-liquid equilibrium of the liquid in one vessel.

Boiling point of a single solvent from its table (cubic Hermite, consistent slope); of a
mixture by modified Raoult's law with NRTL activity coefficients (Renon & Prausnitz 1968,
AIChE J. 14:135); infinite-dilution activity coefficients of the analytes as
:class:`models.system.LiquidSystem` describes.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined
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

    ``work`` [3, S, S] keeps G, tau G, and in its third layer 1 / C_j and A_j / C_j with
    C_j = sum x_k G_kj and A_j = sum x_k tau_kj G_kj for :func:`nrtl_change`.
    """
    n = x.shape[0]
    for j in range(n):
        total, weighted = 0.0, 0.0
        for k in range(n):
            tau, g = 0.0, 1.0
            if k != j:
                tau = pair[0, k, j] + pair[1, k, j] / temperature
                g = np.exp(-pair[2, k, j] * tau)
            work[0, k, j], work[1, k, j] = g, tau * g
            total += x[k] * g
            weighted += x[k] * tau * g
        work[2, 0, j], work[2, 1, j] = 1.0 / total, weighted / total
    for i in range(n):
        out[i] = work[2, 1, i]
    for j in range(n):
        share, energy = x[j] * work[2, 0, j], work[2, 1, j]
        for i in range(n):
            out[i] += share * (work[1, i, j] - work[0, i, j] * energy)


@inlined
def nrtl_change(
    x: Array, y: Array, temperature: float, pair: Array, work: Array
) -> tuple[float, float]:
    """Sum of y_i d ln(gamma_i) with temperature (1/K), and along x - y (per unit).

    ln(gamma_i) is the derivative of F = sum n_j A_j / C_j, with A_j = sum n_k tau_kj G_kj and
    C_j = sum n_k G_kj, in n_i. So the first sum is the derivative in temperature of that of F
    along y. As sum x_i d ln(gamma_i) is 0 (Gibbs and Duhem), the second is the second derivative
    of F along x - y, with a minus.

    Parameters
    ----------
    x, y : [S] mole fractions of liquid and vapour
    temperature : K
    pair, work : of the last :func:`ln_gamma_nrtl` at x and temperature
    """
    n = x.shape[0]
    warmer, drift = 0.0, 0.0
    for j in range(n):
        inverse, e = work[2, 0, j], work[2, 1, j]
        c_y, a_y, c_t, a_t, c_yt, a_yt = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(n):
            g, tau_g, b, alpha = work[0, k, j], work[1, k, j], pair[1, k, j], pair[2, k, j]
            g_t, tau_g_t = -alpha * b * g, b * (g - alpha * tau_g)
            c_y += y[k] * g
            a_y += y[k] * tau_g
            c_t += x[k] * g_t
            a_t += x[k] * tau_g_t
            c_yt += y[k] * g_t
            a_yt += y[k] * tau_g_t
        along_y = (a_y - e * c_y) * inverse
        e_t = (a_t - e * c_t) * inverse
        warmer += y[j] * e_t + x[j] * inverse * (a_yt - e_t * c_y - e * c_yt - along_y * c_t)
        drift += 2.0 * along_y * (x[j] * c_y * inverse - y[j])
    return -warmer / (temperature * temperature), drift


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
    scratch, work : [2, S] and more, [3, S, S]

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
        warmer, along = nrtl_change(x, y, temperature, liquid.pair, work)
        slope += warmer
        drift += along
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
