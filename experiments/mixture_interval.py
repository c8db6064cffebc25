"""Central intervals of equal mixtures of normal distributions, one for each posterior draw."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from models.system import Array


def central_interval(mean: Array, sd: Array, noise: Array, level: float) -> Array:
    """Central interval [2] of what a run may show that scatters by ``noise`` about the truth.

    It never lies inside that of the truth, as scatter about unlikely draws could have it.
    """
    truth = _quantiles(mean, sd, level)
    if not noise.any():
        return truth
    shown = _quantiles(mean, np.hypot(sd, noise), level)
    return np.array([min(truth[0], shown[0]), max(truth[1], shown[1])])


def _quantiles(mean: Array, sd: Array, level: float) -> Array:
    """Central interval [2] of an equal mixture of normals, by a deterministic expansion.

    Fine enough that each normal has its share beyond the ends of the interval.
    """
    count = int(np.clip(np.ceil(2.0 / (1.0 - level)), 41, 4001))
    steps = ndtri((np.arange(count) + 0.5) / count)
    values = (mean[:, None] + sd[:, None] * steps[None, :]).ravel()
    tail = 0.5 * (1.0 - level)
    return np.asarray(np.quantile(values, [tail, 1.0 - tail]))
