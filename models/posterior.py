"""Tempered sequential Monte Carlo for a standard-normal prior and a costly likelihood.

Particles start in the prior and are led to the posterior through powers of the likelihood
chosen so that the effective sample size falls to a set share at each step; after each
resampling they are moved by Metropolis steps whose scale adapts to the acceptance
(Del Moral, Doucet & Jasra 2006, J. R. Stat. Soc. B 68:411; Chopin & Papaspiliopoulos 2020,
ch. 17).

======== =======================================
symbol   meaning                        shape
======== =======================================
z        particles, prior N(0, I)       [P, K]
ll       log likelihood                 [P]
beta     power of the likelihood        scalar
======== =======================================
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.system import Array

LogLikelihood = Callable[[Array], Array]


@dataclass(frozen=True, eq=False)
class Posterior:
    """Equally weighted draws with what the sampler noticed on the way.

    ``log_evidence`` is the estimate of ln p(data); ``steps`` the number of temperatures;
    ``acceptance`` the mean acceptance of the last moves.
    """

    z: Array
    log_likelihood: Array
    log_evidence: float
    steps: int
    acceptance: float


def sample_posterior(
    log_likelihood: LogLikelihood,
    dimension: int,
    *,
    particles: int,
    rng: np.random.Generator,
    moves: int = 3,
    ess_share: float = 0.5,
    max_steps: int = 40,
    on_step: Callable[[float], None] | None = None,
) -> Posterior:
    """Draw from prior N(0, I) times likelihood.

    Parameters
    ----------
    log_likelihood : maps z [P, K] to [P]; -inf where impossible
    dimension : K
    particles : P
    rng : source of randomness
    moves : Metropolis moves after each resampling
    ess_share : effective sample size kept at each tempering step, as a share of P
    max_steps : upper bound on tempering steps; the last one jumps to beta = 1
    on_step : called with beta after each step (progress; may raise to cancel)

    Returns
    -------
    Posterior with P equally weighted draws
    """
    z = rng.standard_normal((particles, dimension))
    ll = log_likelihood(z)
    beta, scale, evidence, acceptance = 0.0, 0.6, 0.0, 1.0
    step = 0
    while beta < 1.0:
        step += 1
        following = 1.0 if step >= max_steps else _next_power(ll, beta, ess_share)
        log_weight = (following - beta) * ll
        peak = np.max(log_weight)
        weight = np.exp(log_weight - peak)
        evidence += float(np.log(np.mean(weight)) + peak)
        keep = _resample(weight / weight.sum(), rng)
        z, ll, beta = z[keep], ll[keep], following
        for _ in range(moves if beta < 1.0 else moves + 2):
            z, ll, acceptance = _move(log_likelihood, z, ll, beta, scale, rng)
            scale = float(np.clip(scale * np.exp(acceptance - 0.28), 0.05, 1.5))
        if on_step is not None:
            on_step(beta)
    return Posterior(z, ll, evidence, step, acceptance)


def _next_power(ll: Array, beta: float, ess_share: float) -> float:
    """Largest power whose incremental weights keep the asked effective sample size."""

    def share(candidate: float) -> float:
        weight = np.exp((candidate - beta) * (ll - np.max(ll)))
        return float(weight.sum() ** 2 / np.sum(weight**2) / len(ll))

    if share(1.0) >= ess_share:
        return 1.0
    low, high = beta, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if share(middle) >= ess_share else (low, middle)
    return max(low, beta + 1e-6)


def _resample(
    weight: Array, rng: np.random.Generator
) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Systematic resampling: indices [P]."""
    position = (rng.random() + np.arange(len(weight))) / len(weight)
    cumulative = np.cumsum(weight)
    cumulative[-1] = 1.0
    return np.searchsorted(cumulative, position)


def _move(
    log_likelihood: LogLikelihood,
    z: Array,
    ll: Array,
    beta: float,
    scale: float,
    rng: np.random.Generator,
) -> tuple[Array, Array, float]:
    """One Metropolis step for all particles; each half is moved by what the other half knows.

    Three quarters take a step along the difference of two particles of the other half
    (differential evolution Monte Carlo, ter Braak 2006), the rest a random step in a few
    coordinates scaled by the spread of the other half.
    """
    z, ll = z.copy(), ll.copy()
    order = rng.permutation(len(z))
    halves = (order[::2], order[1::2])
    accepted = 0
    for moving, other in (halves, halves[::-1]):
        proposed = z[moving] + _jump(z[other], len(moving), scale, rng)
        proposed_ll = log_likelihood(proposed)
        prior_change = 0.5 * (np.sum(z[moving] ** 2, axis=1) - np.sum(proposed**2, axis=1))
        log_ratio = prior_change + beta * (proposed_ll - ll[moving])
        accept = np.log(rng.random(len(moving))) < log_ratio
        z[moving[accept]] = proposed[accept]
        ll[moving[accept]] = proposed_ll[accept]
        accepted += int(accept.sum())
    return z, ll, accepted / len(z)


def _jump(other: Array, count: int, scale: float, rng: np.random.Generator) -> Array:
    """Symmetric proposals [count, K] built from the other half of the particles."""
    dimension = other.shape[1]
    spread = np.maximum(other.std(axis=0), 0.05)
    first = other[rng.integers(len(other), size=count)]
    second = other[rng.integers(len(other), size=count)]
    jump = scale * 1.68 / np.sqrt(2 * dimension) * (first - second)
    jump += scale * 0.25 / np.sqrt(dimension) * spread * rng.standard_normal((count, dimension))
    few = rng.random((count, dimension)) < 3.0 / dimension
    wide = scale * spread * rng.standard_normal((count, dimension)) * few
    return np.asarray(np.where(rng.random((count, 1)) < 0.25, wide, jump))
