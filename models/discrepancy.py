"""Gaussian-process discrepancy between the run model and the bench, given each particle.

Each posterior particle carries its own amplitude, noise scale and length, so a particle
whose physics explains the data needs little discrepancy and one that does not needs much;
the data weigh the two (Kennedy & O'Hagan 2001, J. R. Stat. Soc. B 63:425). The kernel is
squared exponential over coded factors. Output 0 is ln(run time), outputs 1..A are
recovery fractions.

======== ======================================================= ==========
symbol   meaning                                                 shape
======== ======================================================= ==========
d2       squared coded distance between runs                     [n, n]
same_day chance that two runs share a day                        [n, n]
day      variance of what the runs of one day share              [P, O]
amp      discrepancy standard deviation                          [P, O]
var      noise variance of each reading beyond that of its day;
         inf where there is none                                 [P, n, O]
r        reading minus run model                                 [P, n, O]
L        Cholesky factor of amp^2 k + day same_day + diag(var),
         used rows only
======== ======================================================= ==========
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import prange
from numpy.typing import NDArray

from models.compilation import arrays, parallel
from models.system import Array


class Kinship(NamedTuple):
    """How near runs are: ``d2`` squared coded distance, ``same_day`` chance of sharing a day."""

    d2: Array  # [n, n]
    same_day: Array  # [n, n]


@arrays
def covariance(
    kin: Kinship, amp: float, length: float, day: float, var: Array, rows: NDArray[np.int64]
) -> Array:
    """Matrix amp^2 exp(-d2/2 l^2) + day same_day + diag(var) over ``rows``."""
    m = rows.shape[0]
    out = np.empty((m, m))
    for i in range(m):
        for j in range(i + 1):
            near = math.exp(-0.5 * kin.d2[rows[i], rows[j]] / (length * length))
            out[i, j] = amp * amp * near + day * kin.same_day[rows[i], rows[j]]
            out[j, i] = out[i, j]
        out[i, i] += var[rows[i]] + 1e-12
    return out


@arrays
def factor(matrix: Array) -> Array:
    """Lower Cholesky factor of a symmetric matrix."""
    m = matrix.shape[0]
    low = np.zeros((m, m))
    for i in range(m):
        for j in range(i + 1):
            value = matrix[i, j]
            for k in range(j):
                value -= low[i, k] * low[j, k]
            low[i, j] = math.sqrt(max(value, 1e-14)) if i == j else value / low[j, j]
    return low


@arrays
def whiten(low: Array, columns: Array) -> None:
    """Solve L u = v for every column v of ``columns`` [m, K], in their place.

    The innermost loops run along the rows, which the compiler takes several numbers at a time.
    """
    m, count = columns.shape
    for i in range(m):
        here = columns[i]
        for k in range(i):
            weight, earlier = low[i, k], columns[k]
            for q in range(count):
                here[q] -= weight * earlier[q]
        here /= low[i, i]


@arrays
def whiten_back(low: Array, columns: Array) -> None:
    """Solve L' u = v for every column v of ``columns`` [m, K], in their place."""
    m, count = columns.shape
    for i in range(m - 1, -1, -1):
        here = columns[i]
        for k in range(i + 1, m):
            weight, later = low[k, i], columns[k]
            for q in range(count):
                here[q] -= weight * later[q]
        here /= low[i, i]


@parallel
def gaussian_evidence(
    kin: Kinship, amp: Array, length: Array, day: Array, var: Array, r: Array
) -> Array:
    """Log density [P] of residuals r [P, n] with variances var [P, n] (inf: no reading).

    ``amp``, ``length``, ``day`` : [P]
    """
    count, n = r.shape
    out = np.zeros(count)
    for p in prange(count):
        rows = np.flatnonzero(np.isfinite(var[p]))
        if rows.shape[0] == 0:
            continue
        low = factor(covariance(kin, amp[p], length[p], day[p], var[p], rows))
        u = r[p][rows].reshape(-1, 1)
        whiten(low, u)
        total = 0.0
        for i in range(rows.shape[0]):
            total -= 0.5 * u[i, 0] * u[i, 0] + math.log(low[i, i])
        out[p] = total
    return out


@parallel
def condition(
    kin: Kinship,
    d2_new: Array,
    amp: Array,
    length: Array,
    day: Array,
    var: Array,
    r: Array,
    path: Array,
    path_new: Array,
    noise: Array,
) -> tuple[Array, Array, Array]:
    """Discrepancy at new settings given the residuals.

    Parameters
    ----------
    d2_new : [M, n] squared coded distances to the runs
    amp, day : [P, O]; length : [P]; var, r : [P, n, O]
    path : [P, n, O], path_new : [P, M, O] one prior path of unit amplitude per particle
    noise : [P, n, O] draws of the noise of the readings, days included

    Returns
    -------
    mean, sd, sample : [P, M, O]; ``sample`` is one joint draw over all M (Matheron's rule)
    """
    count, n, outputs = r.shape
    points = d2_new.shape[0]
    mean = np.zeros((count, points, outputs))
    sd = np.zeros((count, points, outputs))
    sample = np.zeros((count, points, outputs))
    far = np.ascontiguousarray(d2_new.T)
    for p in prange(count):
        kernel = np.exp(-0.5 * far / (length[p] * length[p]))
        for o in range(outputs):
            a2 = amp[p, o] * amp[p, o]
            rows = np.flatnonzero(np.isfinite(var[p, :, o]))
            low = factor(covariance(kin, amp[p, o], length[p], day[p, o], var[p, :, o], rows))
            wrong = np.empty((rows.shape[0], 2))  # what is seen, and of it but for one draw
            for i in range(rows.shape[0]):
                j = rows[i]
                wrong[i, 0] = r[p, j, o]
                wrong[i, 1] = r[p, j, o] - amp[p, o] * path[p, j, o] - noise[p, j, o]
            whiten(low, wrong)
            u = kernel[rows]
            whiten(low, u)
            shift = wrong.T @ u
            known = np.sum(u * u, axis=0)
            for q in range(points):
                mean[p, q, o] = a2 * shift[0, q]
                sd[p, q, o] = math.sqrt(max(a2 - a2 * a2 * known[q], 0.0))
                sample[p, q, o] = amp[p, o] * path_new[p, q, o] + a2 * shift[1, q]
    return mean, sd, sample


def squared_distance(a: Array, b: Array) -> Array:
    """Squared Euclidean distance [len(a), len(b)] of coded settings."""
    return np.asarray(np.sum((a[:, None, :] - b[None, :, :]) ** 2, axis=2))


class PriorPaths:
    """Random functions of the squared-exponential kernel by random Fourier features.

    (Rahimi & Recht 2007.) One path of unit amplitude for each particle and output.
    """

    def __init__(
        self, particles: int, order: NDArray[np.int64], factors: int, rng: np.random.Generator,
        features: int = 96,
    ) -> None:
        """``order`` [O]: which of the random paths each output gets."""
        self._frequency = rng.standard_normal((features, factors))
        self._phase = rng.uniform(0.0, 2.0 * np.pi, features)
        weight = rng.standard_normal((particles, features, len(order))) * np.sqrt(2 / features)
        self._weight = weight[:, :, order]

    def at(self, coded: Array, length: Array, keep: slice = slice(None)) -> Array:
        """Values [P, M, O] at coded settings [M, F] for the lengths [P] of kept particles."""
        phase = (coded @ self._frequency.T)[None, :, :] / length[:, None, None] + self._phase
        return np.asarray(np.cos(phase) @ self._weight[keep])
