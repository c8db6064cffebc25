"""Analyte parameters, integrated out for each trajectory.

Traces of analyte do not change a run, so for each particle of the equipment parameters the
volatility multiplier, the thermal rate and the ceiling of each analyte are summed over a
grid: with the run model's exponents at hand this costs no further simulation.

======== ===================================================== =============
symbol   meaning                                               shape
======== ===================================================== =============
E        -ln survival while liquid, at multiplier 1            [N, 3, A]
dose     film dose, mol, at multiplier 1                       [N, 3, A]
S        mean surviving fraction over classes for a multiplier [N, A, G]
D        thermal dose, s at 313.15 K                           [N]
kappa    thermal rate, 1/s at 313.15 K                         [T]
c        ceiling, fraction                                     [C]
======== ===================================================== =============
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from models.discrepancy import factor, whiten
from models.film import film_left
from models.system import Array

VOLATILITY_NODES: Final = np.linspace(-3.0, 3.0, 21)
"""Standardised ln multiplier of volatility; prior standard normal."""
THERMAL_RATES: Final = np.array([0.0, 3e-6, 1.5e-5, 6e-5])
THERMAL_PRIOR: Final = np.array([0.70, 0.12, 0.11, 0.07])
CEILINGS: Final = np.array([1.0, 0.985, 0.965, 0.94, 0.90, 0.84])
CEILING_PRIOR: Final = np.array([0.40, 0.24, 0.16, 0.10, 0.06, 0.04])


def log_prior() -> tuple[Array, Array, Array]:
    """Log prior weights of the grid: volatility [G], thermal rate [T], ceiling [C]."""
    volatility = np.exp(-0.5 * VOLATILITY_NODES**2)
    return (
        np.log(volatility / volatility.sum()),
        np.log(THERMAL_PRIOR),
        np.log(CEILING_PRIOR),
    )


@njit(cache=True)
def surviving(
    exponent: Array, dose: Array, film_moles: float, spike: float, multiplier: float
) -> float:
    """Mean surviving fraction over the vessel classes [3] at a volatility multiplier."""
    total = 0.0
    for k in range(exponent.shape[0]):
        left = math.exp(-multiplier * exponent[k])
        if dose[k] > 0.0:
            start = spike * left
            left = film_left(start, film_moles, multiplier * dose[k]) / spike
        total += left
    return float(total / exponent.shape[0])


@njit(cache=True, parallel=True)
def survival_table(
    exponent: Array, dose: Array, film_moles: Array, spike: Array, multiplier: Array
) -> Array:
    """S [N, A, G] for multipliers [A, G]."""
    count, _, analytes = exponent.shape
    nodes = multiplier.shape[1]
    out = np.empty((count, analytes, nodes))
    for i in prange(count):
        for a in range(analytes):
            for g in range(nodes):
                out[i, a, g] = surviving(
                    exponent[i, :, a], dose[i, :, a], film_moles[i], spike[a], multiplier[a, g]
                )
    return out


@njit(cache=True, parallel=True)
def survival_points(
    exponent: Array, dose: Array, film_moles: Array, spike: Array, multiplier: Array
) -> Array:
    """S [N, A] for one multiplier for each run and analyte [N, A]."""
    count, _, analytes = exponent.shape
    out = np.empty((count, analytes))
    for i in prange(count):
        for a in range(analytes):
            out[i, a] = surviving(
                exponent[i, :, a], dose[i, :, a], film_moles[i], spike[a], multiplier[i, a]
            )
    return out


@njit(cache=True)
def _log_terms(
    low: Array,
    rows: NDArray[np.int64],
    y: Array,
    table: Array,
    thermal_dose: Array,
    rates: Array,
    ceilings: Array,
    prior: tuple[Array, Array, Array],
) -> Array:
    """Log prior plus log density of every grid point [G, T, C], up to the determinant."""
    m = rows.shape[0]
    nodes = table.shape[1]
    out = np.empty((nodes, rates.shape[0], ceilings.shape[0]))
    w = whiten(low, y[rows])
    ww = 0.0
    for i in range(m):
        ww += w[i] * w[i]
    values = np.empty(m)
    for t in range(rates.shape[0]):
        decay = np.exp(-rates[t] * thermal_dose)
        for g in range(nodes):
            for i in range(m):
                values[i] = table[rows[i], g] * decay[rows[i]]
            u = whiten(low, values)
            uu = 0.0
            uw = 0.0
            for i in range(m):
                uu += u[i] * u[i]
                uw += u[i] * w[i]
            for c in range(ceilings.shape[0]):
                quadratic = ww - 2.0 * ceilings[c] * uw + ceilings[c] * ceilings[c] * uu
                out[g, t, c] = prior[0][g] + prior[1][t] + prior[2][c] - 0.5 * quadratic
    return out


@njit(cache=True, parallel=True)
def analyte_evidence(
    table: Array,
    thermal_dose: Array,
    y: Array,
    var: Array,
    d2: Array,
    amp: Array,
    length: Array,
    rates: Array,
    ceilings: Array,
    prior: tuple[Array, Array, Array],
    uniform: Array,
) -> tuple[Array, NDArray[np.int64]]:
    """Evidence of each analyte's recoveries and one draw of its parameters.

    Parameters
    ----------
    table : [P, n, A, G]; thermal_dose : [P, n]
    y : [n, A] recoveries; var : [P, n, A] noise variance (inf: no reading)
    d2 : [n, n]; amp : [P, A] discrepancy; length : [P]
    rates [T], ceilings [C], prior : the grid
    uniform : [P, A] numbers in (0, 1) that pick the draw

    Returns
    -------
    evidence : [P, A]; picked : [P, A, 3] indices into volatility, rate and ceiling
    """
    count, _, analytes, nodes = table.shape
    evidence = np.zeros((count, analytes))
    picked = np.zeros((count, analytes, 3), dtype=np.int64)
    for p in prange(count):
        for a in range(analytes):
            rows = np.flatnonzero(np.isfinite(var[p, :, a]))
            low = factor(d2, amp[p, a], length[p], var[p, :, a], rows)
            terms = _log_terms(
                low, rows, y[:, a], table[p, :, a], thermal_dose[p], rates, ceilings, prior
            )
            peak = terms.max()
            flat = np.exp(terms - peak).ravel()
            total = flat.sum()
            log_det = 0.0
            for i in range(rows.shape[0]):
                log_det += math.log(low[i, i])
            evidence[p, a] = peak + math.log(total) - log_det
            position = np.searchsorted(np.cumsum(flat), uniform[p, a] * total)
            position = min(position, flat.shape[0] - 1)
            block = rates.shape[0] * ceilings.shape[0]
            picked[p, a, 0] = position // block
            picked[p, a, 1] = (position % block) // ceilings.shape[0]
            picked[p, a, 2] = position % ceilings.shape[0]
    return evidence, picked
