"""What a trial is worth: minutes a batch that its result is expected to take off the answer.

For each candidate the possible results are drawn from the posterior; each draw reweights
all posterior draws, and the best setting that still meets the assurance is found again (a
one-step look-ahead, Frazier & Powell's knowledge gradient, estimated on joint draws). So a
trial scores by exploring, by proving and by telling explanations apart, in one currency.

======== ============================================== ==========
symbol   meaning                                        shape
======== ============================================== ==========
M        settings that may be recommended
Q        settings that may be tried
P        posterior draws
time     run time in each draw, min                     [M, P]
good     all targets met in each draw                   [M, P]
======== ============================================== ==========
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.system import Array


@dataclass(frozen=True, eq=False)
class TruthDraws:
    """Joint posterior draws of the truth over the settings that may be recommended.

    ``reading`` [M, P, O] and ``noise_sd`` [M, P, O]: what a trial there would read and its
    noise: ln(run time) and each recovery. ``usable`` [M, P]: whether the run ends in time and
    keeps its liquid; where not, that is all a trial tells.
    """

    time: Array
    good: Array
    reading: Array
    noise_sd: Array
    usable: NDArray[np.bool_]


UNLIKELY = -5.0
"""Log likelihood of a run ending otherwise than a draw says."""
LEAST_DRAWS = 8.0
"""Effective number of draws below which weights are flattened: more would be luck."""


def best_time(time: Array, good: Array, weight: Array, assurance: float, idle: float) -> Array:
    """Best mean run time [J] under draw weights [J, P]; ``idle`` where nothing qualifies.

    The step at the assurance is softened over two points so that a trial that brings a
    setting closer to it is worth something.
    """
    probability = weight @ good.T
    mean = weight @ time.T
    soft = np.clip((probability - (assurance - 0.04)) / 0.04, 0.0, 1.0)
    cost = np.where(soft > 0.0, soft * mean + (1.0 - soft) * np.maximum(idle, mean), idle)
    return np.asarray(cost.min(axis=1))


def log_weight_change(
    draws: TruthDraws, tried: int, sources: NDArray[np.intp], shock: Array
) -> Array:
    """Log likelihood [J, P] under every draw of the result that each source draw would give.

    Parameters
    ----------
    tried : index of the setting
    sources : [J] draws that play the truth
    shock : [J, O] standard normal noise of their readings
    """
    reading, sd, usable = draws.reading[tried], draws.noise_sd[tried], draws.usable[tried]
    results = reading[sources] + sd[sources] * shock
    standard = (results[:, None, :] - reading[None]) / sd[None]
    change = np.sum(-0.5 * standard**2 - np.log(sd)[None], axis=2)
    told = usable[sources][:, None]
    change = np.where(told, change, 0.0)
    return np.asarray(np.where(told == usable[None], change, change + UNLIKELY))


def normalise(log_weight: Array) -> Array:
    """Weights [J, P] that sum to one in each row, never on fewer than a few draws."""
    power = np.ones((len(log_weight), 1))
    for _ in range(8):
        scaled = power * (log_weight - log_weight.max(axis=1, keepdims=True))
        weight = np.exp(scaled)
        weight /= weight.sum(axis=1, keepdims=True)
        few = 1.0 / np.sum(weight**2, axis=1, keepdims=True) < LEAST_DRAWS
        if not few.any():
            break
        power = np.where(few, 0.7 * power, power)
    return np.asarray(weight)


def trial_values(
    draws: TruthDraws,
    candidates: NDArray[np.intp],
    log_weight: Array,
    sources: NDArray[np.intp],
    assurance: float,
    idle: float,
    rng: np.random.Generator,
) -> Array:
    """Expected best time [Q] after a trial at each candidate.

    Parameters
    ----------
    candidates : [Q] indices into the settings of ``draws``
    log_weight : [J, P] weights already earned by earlier trials of the batch
    sources : [J] index of the draw that plays the truth in each row
    idle : minutes counted while nothing qualifies
    """
    outputs = draws.reading.shape[2]
    shock = rng.standard_normal((len(sources), outputs))
    values = np.empty(len(candidates))
    for q, candidate in enumerate(candidates):
        change = log_weight_change(draws, int(candidate), sources, shock)
        weight = normalise(log_weight + change)
        values[q] = best_time(draws.time, draws.good, weight, assurance, idle).mean()
    return values
