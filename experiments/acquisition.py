"""What a trial may bring, from joint draws of the truth.

A trial is worth running where a setting may truly qualify and be faster than what could be
recommended without it: the expected improvement in run time over the draws (Jones, Schonlau &
Welch 1998, J. Glob. Optim. 13:455), each draw counting only if the setting is good in it
(Gardner et al. 2014, ICML 32:937). Trials already chosen or pending are imagined: for several
draws that play the truth, all draws are reweighted by how well they explain what the trial
would then read.

======== ============================================== ==========
symbol   meaning                                        shape
======== ============================================== ==========
M        settings that may be tried or recommended
P        posterior draws
J        draws that play the truth
time     run time in each draw, min                     [M, P]
good     all targets met in each draw                   [M, P]
weight   of the draws, for each imagined truth          [J, P]
======== ============================================== ==========
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from models.noise import DAY_SHARE, misfit_with_common, with_common
from models.system import Array, Mask


@dataclass(frozen=True, eq=False)
class TruthDraws:
    """Joint posterior draws of the truth over the settings that may be recommended.

    ``reading`` [M, P, O] and ``noise_sd`` [M, P, O]: what a trial there would read and its
    noise: ln(run time) and each recovery on the stabilised scale. ``usable`` [M, P]: whether
    the run ends in time and keeps its liquid; where not, that is all a trial tells; ``keeps``
    [M, P] is the chance of it. ``common`` is the share of the noise's variance that the
    recoveries of a run have in common.
    """

    time: Array
    good: Array
    reading: Array
    noise_sd: Array
    usable: Mask
    keeps: Array
    common: float


UNLIKELY = -5.0
"""Log likelihood of a run ending otherwise than a draw says."""
LEAST_DRAWS = 8.0
"""Effective number of draws below which weights are flattened: more would be luck."""


def qualified_time(
    time: Array, good: Array, weight: Array, assurance: float, idle: float
) -> Array:
    """Mean run time [J] of the fastest setting that qualifies; ``idle`` where none does."""
    mean = weight @ time.T
    qualifies = weight @ good.T >= assurance
    return np.asarray(np.min(np.where(qualifies, np.minimum(mean, idle), idle), axis=1))


def improvement(time: Array, good: Array, weight: Array, best: Array) -> Array:
    """Expected minutes [M] by which a truly good setting beats ``best`` [J]."""
    total = np.zeros(len(time))
    for w, b in zip(weight, best, strict=True):
        total += (good * np.maximum(b - time, 0.0)) @ w
    return np.asarray(total / len(weight))


def proving_chance(
    draws: TruthDraws, targets: Array, must: Mask, assurance: float, runs: int,
    batch: int, shock: Array,
) -> Array:
    """Chance [M] that ``runs`` more runs at a setting would make it qualify.

    Each draw in turn is the truth; the mean of the runs then moves what is believed of each
    recovery, taken as normal on the stabilised scale, and narrows it. A run that boils over or
    does not end in time ends the hope; runs that go well make the next one more credible.

    Parameters
    ----------
    targets : [A] on the stabilised scale; must : [A] whether an analyte counts
    batch : runs that share a day, and so part of their scatter
    shock : [J, P, A] standardised noise of the mean of the runs
    """
    recoveries = np.concatenate([[False], must])
    truth = draws.reading[:, :, recoveries]
    mean, variance = truth.mean(axis=1)[:, None], truth.var(axis=1)[:, None] + 1e-12
    noise = (draws.noise_sd[:, :, recoveries] ** 2).mean(axis=1)[:, None]
    noise = noise * ((1.0 - DAY_SHARE) / runs + DAY_SHARE / -(-runs // batch))
    gain = variance / (variance + noise)
    left = np.sqrt(variance * (1.0 - gain))
    well = draws.keeps**runs
    next_well = (well * draws.keeps).mean(axis=1) / np.maximum(well.mean(axis=1), 1e-12)
    chance = np.zeros(len(truth))
    for z in shock[:, :, must]:
        believed = mean + gain * (truth + np.sqrt(noise) * z - mean)
        met = ndtr((believed - targets[must]) / left).prod(axis=2)
        chance += (well * (next_well[:, None] * met >= assurance)).mean(axis=1)
    return np.asarray(chance / len(shock))


def reading_shock(count: int, outputs: int, share: float, rng: np.random.Generator) -> Array:
    """Standardised noise [count, O] of readings, ``share`` of it common to all recoveries."""
    shock = rng.standard_normal((count, outputs))
    common = rng.standard_normal((count, 1))
    shock[:, 1:] = with_common(common, shock[:, 1:], share)
    return shock


def log_weight_change(
    draws: TruthDraws, tried: int, sources: NDArray[np.intp], shock: Array
) -> Array:
    """Log likelihood [J, P] under every draw of the result that each source draw would give.

    Parameters
    ----------
    tried : index of the setting
    sources : [J] draws that play the truth
    shock : [J, O] of :func:`reading_shock`
    """
    reading, sd, usable = draws.reading[tried], draws.noise_sd[tried], draws.usable[tried]
    results = reading[sources] + sd[sources] * shock
    standard = (results[:, None, :] - reading[None]) / sd[None]
    change = -0.5 * _misfit(standard, draws.common) - np.sum(np.log(sd), axis=1)[None]
    told = usable[sources][:, None]
    change = np.where(told, change, 0.0)
    return np.asarray(np.where(told == usable[None], change, change + UNLIKELY))


def _misfit(standard: Array, share: float) -> Array:
    """Squared Mahalanobis distance [J, P] of standardised differences [J, P, O]."""
    return np.asarray(standard[:, :, 0] ** 2 + misfit_with_common(standard[:, :, 1:], share))


def normalise(log_weight: Array) -> Array:
    """Weights [J, P] that sum to one in each row, never on fewer than a few draws.

    Rows that rest on fewer are flattened by the largest power below one that does not.
    """
    off = log_weight - log_weight.max(axis=1, keepdims=True)
    weight = _shares(off)
    few = 1.0 / np.sum(weight**2, axis=1) < LEAST_DRAWS
    if few.any():
        low, high = np.zeros((few.sum(), 1)), np.ones((few.sum(), 1))
        for _ in range(24):
            middle = 0.5 * (low + high)
            enough = 1.0 / np.sum(_shares(middle * off[few]) ** 2, axis=1) >= LEAST_DRAWS
            low = np.where(enough[:, None], middle, low)
            high = np.where(enough[:, None], high, middle)
        weight[few] = _shares(low * off[few])
    return weight


def _shares(log_weight: Array) -> Array:
    weight = np.exp(log_weight)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))
