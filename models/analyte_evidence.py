"""Analyte parameters, integrated out for each trajectory.

Traces of analyte do not change a run, so for each particle of the equipment parameters the
volatility multiplier, the thermal rate and the ceiling of each analyte are summed over a
grid: with the run model's exponents at hand this costs no further simulation.

The analytes of a run share part of its scatter (the common effect c, one standard normal
number a run). It is integrated out by taking the analytes one after another and keeping c
as a Gaussian (assumed-density filtering; Minka 2001, UAI 17:362): the first analytes say how
far the run was off, the later ones are judged with that in mind. Recoveries are on the
stabilised scale of :mod:`models.noise`.

======== ===================================================== =============
symbol   meaning                                               shape
======== ===================================================== =============
table    surviving fraction at the nodes                       [P, n, A, G, T]
kappa    thermal rate, 1/s at 313.15 K                         [T]
ceiling  fraction                                              [P, C]
nodes    all of the grid, volatility slowest                   [G * T * C]
prior    log prior weight of the nodes of each analyte         [A, G * T * C]
c        common effect of each run                             [n]
======== ===================================================== =============
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numba import prange
from numpy.typing import NDArray

from models.compilation import arrays, parallel
from models.discrepancy import Kinship, covariance, factor, whiten, whiten_back
from models.noise import DAY_SHARE, expected_reading_one
from models.system import Array

VOLATILITY_NODES: Final = np.linspace(-3.0, 3.0, 21)
"""Standardised ln multiplier of volatility; prior standard normal."""
THERMAL_RATES: Final = np.array([0.0, 3e-6, 1.5e-5, 6e-5])
THERMAL_PRIOR: Final = np.array([0.70, 0.12, 0.11, 0.07])
CEILINGS: Final = np.array([1.0, 0.985, 0.965, 0.94, 0.90, 0.84])
CEILING_PRIOR: Final = np.array([0.60, 0.18, 0.10, 0.06, 0.04, 0.02])
"""Of what an analyte loses beyond what is lost of all alike (:mod:`models.scales`)."""
ODD_BEYOND = 1.5
"""Deviations beyond which a reading says less and less of its run (a redescending weight)."""
NEGLIGIBLE = 1e-7
"""Weight of a node, relative to the best, below which it is not counted."""


def log_prior() -> Array:
    """Log prior weight of every node [G * T * C]."""
    volatility = np.exp(-0.5 * VOLATILITY_NODES**2)
    volatility /= volatility.sum()
    weight = np.einsum("g,t,c->gtc", volatility, THERMAL_PRIOR, CEILING_PRIOR)
    return np.asarray(np.log(weight).ravel())


def draw_prior_nodes(log_prior: Array, uniform: Array) -> NDArray[np.int64]:
    """Node numbers [P, A] from the prior [A, nodes], by ``uniform`` [P, A] numbers in (0, 1)."""
    cumulated = np.cumsum(np.exp(log_prior), axis=1)
    cumulated /= cumulated[:, -1:]
    picked = [np.searchsorted(c, u, side="right")
              for c, u in zip(cumulated, uniform.T, strict=True)]
    return np.asarray(np.column_stack(picked), dtype=np.int64)


def node_ceilings(kept: Array) -> Array:
    """Ceilings [P, C] of the nodes where of every analyte the share ``kept`` [P] is not lost."""
    return np.asarray(kept[:, None] * CEILINGS)


def node_values(picked: NDArray[np.int64]) -> tuple[Array, Array, Array]:
    """Standardised ln volatility, thermal rate and own ceiling of node numbers (same shape)."""
    g, t, c = np.unravel_index(
        picked, (len(VOLATILITY_NODES), len(THERMAL_RATES), len(CEILINGS)))
    return VOLATILITY_NODES[g], THERMAL_RATES[t], CEILINGS[c]


@arrays
def _node_terms(
    low: Array, rows: NDArray[np.int64], seen: Array, table: Array, ceilings: Array,
    prior: Array, terms: Array, values: Array,
) -> None:
    """Fill ``terms`` [K] with log prior plus log density and ``values`` [m, K] of all nodes.

    ``low`` [m, m] is the Cholesky factor over ``rows`` [m], ``seen`` [m] the reading less
    what the common effect is thought to be, ``table`` [n, G, T].
    """
    off = np.empty(values.shape)
    terms[:] = prior
    for i in range(rows.shape[0]):
        value = values[i]
        node = 0
        for share in table[rows[i]].ravel():
            for ceiling in ceilings:
                value[node] = ceiling * share
                node += 1
        for q in range(value.shape[0]):
            value[q] = expected_reading_one(value[q])
            off[i, q] = seen[i] - value[q]
        terms -= math.log(low[i, i])
    whiten(low, off)
    for row in off:
        terms -= 0.5 * row * row


@arrays
def _mixture_moments(terms: Array, values: Array) -> tuple[Array, Array]:
    """Mean [m] and covariance [m, m] of the values [m, K] at the nodes under their weights."""
    weight = np.exp(terms - terms.max())
    counts = weight > NEGLIGIBLE * weight.sum()
    weight = weight[counts] / weight.sum()
    off = values[:, counts]
    mean = off @ weight
    for i in range(mean.shape[0]):
        off[i] -= mean[i]
    return mean, (off * weight) @ off.T


@arrays
def _update_effect(
    low: Array, rows: NDArray[np.int64], seen: Array, terms: Array, values: Array,
    shared: float, effect: Array, spread: Array,
) -> None:
    """Update mean [n] and covariance [n, n] of the common effects by one analyte.

    Moments of the mixture over the nodes: for each node the update is that of a Kalman
    filter with the same gain. A reading that nothing explains is a matter of its analyte: the
    further it is off, the less it says of its run, so that a lost analyte does not excuse the
    low readings of the others.
    """
    mean, scatter = _mixture_moments(terms, values)
    cross = shared * spread[rows]
    whiten(low, cross)  # L^-1 V[rows]
    gain = cross.copy()
    whiten_back(low, gain)
    off = seen - mean
    for i in range(rows.shape[0]):
        variance = scatter[i, i]
        for k in range(i + 1):
            variance += low[i, k] ** 2
        far = off[i] * off[i] / (variance * ODD_BEYOND**2)
        if far > 1.0:
            off[i] /= far
    effect += off @ gain
    spread += gain.T @ (scatter @ gain) - cross.T @ cross


@parallel
def analyte_evidence(
    table: Array, seen: Array, var: Array, kin: Kinship, amp: Array, length: Array, day: Array,
    shared: Array, ceilings: Array, prior: Array, order: NDArray[np.int64],
) -> tuple[Array, Array, Array]:
    """Evidence of all recoveries, and what is known of the common effects.

    The common effects are learnt from one analyte after the other, each time brought back to a
    normal distribution, so that the result hangs a little on the order.

    Parameters
    ----------
    table : [P, n, A, G, T]
    seen : [n, A] readings; var : [P, n, A] variance of each analyte alone (inf: no reading)
    kin : how near the runs are; amp, length : [P] discrepancy
    day : [P] variance that the readings of one analyte share within a day
    shared : [P] standard deviation of the effect common to the analytes of a run
    ceilings : [P, C]; prior : [A, G * T * C]
    order : [A] analytes in the order in which they are taken

    Returns
    -------
    evidence : [P]; effect : [P, n] mean and spread : [P, n, n] covariance of c
    """
    count, n = table.shape[0], table.shape[1]
    evidence = np.zeros(count)
    effect = np.zeros((count, n))
    spread = np.zeros((count, n, n))
    nodes = prior.shape[1]
    for p in prange(count):
        for i in range(n):
            for j in range(n):
                spread[p, i, j] = DAY_SHARE * kin.same_day[i, j]
            spread[p, i, i] += 1.0 - DAY_SHARE
        for a in order:
            rows = np.flatnonzero(np.isfinite(var[p, :, a]))
            if rows.shape[0] == 0:
                continue
            matrix = covariance(kin, amp[p], length[p], day[p], var[p, :, a], rows)
            for i in range(rows.shape[0]):
                for j in range(rows.shape[0]):
                    matrix[i, j] += shared[p] ** 2 * spread[p, rows[i], rows[j]]
            low = factor(matrix)
            off = seen[rows, a] - shared[p] * effect[p][rows]
            terms = np.empty(nodes)
            values = np.empty((rows.shape[0], nodes))
            _node_terms(low, rows, off, table[p, :, a], ceilings[p], prior[a], terms, values)
            peak = terms.max()
            evidence[p] += peak + math.log(np.sum(np.exp(terms - peak)))
            _update_effect(low, rows, off, terms, values, shared[p], effect[p], spread[p])
    return evidence, effect, spread


@parallel
def draw_nodes(
    table: Array, seen: Array, var: Array, kin: Kinship, amp: Array, length: Array, day: Array,
    ceilings: Array, prior: Array, uniform: Array,
) -> NDArray[np.int64]:
    """One draw of the node of each analyte [P, A] once the common effects are known.

    As :func:`analyte_evidence` with ``seen`` [P, n, A] less the common effects and
    ``uniform`` [P, A] numbers in (0, 1) that pick the draw.
    """
    count, analytes = table.shape[0], table.shape[2]
    picked = np.zeros((count, analytes), dtype=np.int64)
    for p in prange(count):
        for a in range(analytes):
            rows = np.flatnonzero(np.isfinite(var[p, :, a]))
            low = factor(covariance(kin, amp[p], length[p], day[p], var[p, :, a], rows))
            terms = np.empty(prior.shape[1])
            values = np.empty((rows.shape[0], prior.shape[1]))
            _node_terms(low, rows, seen[p, :, a][rows], table[p, :, a], ceilings[p], prior[a],
                        terms, values)
            cumulated = np.cumsum(np.exp(terms - terms.max()))
            position = np.searchsorted(cumulated, uniform[p, a] * cumulated[-1])
            picked[p, a] = min(position, prior.shape[1] - 1)
    return picked
