"""Tempered sequential Monte Carlo for a costly likelihood.

Particles start in the prior and are led to the posterior through powers of the likelihood
chosen so that the effective sample size falls to a set share at each step (Del Moral, Doucet &
Jasra 2006, J. R. Stat. Soc. B 68:411; Chopin & Papaspiliopoulos 2020, ch. 17). After each
resampling they are moved by Metropolis steps that leave a Gaussian fitted to the particles
unchanged (preconditioned Crank-Nicolson: Cotter et al. 2013, Statist. Sci. 28:424), so that
what the data say little about is drawn anew at almost every step and keeps its full spread.

A likelihood may come in stages that need more and more of the parameters, the costly one first;
the parameters of the later stages are moved more often, with what the earlier ones gave kept.

======== ==================================================== =======
symbol   meaning                                              shape
======== ==================================================== =======
z        particles, prior N(0, I) if no other is given        [P, K]
ll       log likelihood                                       [P]
beta     power of the likelihood                              scalar
weight   of the particles, sum 1                              [P]
======== ==================================================== =======
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from models.system import Array

Parts = tuple[Array, ...]
TARGET_ACCEPTANCE = 0.28
ESS_SHARE = 0.5
"""Effective sample size kept at each tempering step, as a share of the particles."""
MOST_STEPS = 40
"""Tempering steps; the last one jumps to the whole likelihood."""
LAST_MOVES = 2
"""Moves added once the whole likelihood counts."""
WIDENED = 1.2
"""Variance of the fitted Gaussian relative to the particles': the tails must be within reach."""


class Stage(NamedTuple):
    """A part of a log likelihood.

    ``compute`` maps z [P, K], of which it reads columns before ``end``, and what the earlier
    stages gave to arrays with P rows; the last stage gives the log likelihood [P] alone, -inf
    where impossible. ``moves`` of its own columns are made for each move of the sampler.
    """

    end: int
    moves: int
    compute: Callable[[Array, tuple[Parts, ...]], Parts]


class Likelihood(NamedTuple):
    """A log likelihood in stages that need more and more of the columns of z [P, K]."""

    stages: tuple[Stage, ...]

    @classmethod
    def plain(cls, function: Callable[[Array], Array], dimension: int) -> Likelihood:
        """A likelihood in one stage: ``function`` maps z [P, K] to [P]."""
        return cls((Stage(dimension, 1, lambda z, _: (function(z),)),))

    @property
    def dimension(self) -> int:
        """K."""
        return self.stages[-1].end

    def columns(self, stage: int) -> slice:
        """Those that this stage is the first to need."""
        return slice(self.stages[stage - 1].end if stage else 0, self.stages[stage].end)

    def parts(self, z: Array, kept: tuple[Parts, ...] = ()) -> tuple[Parts, ...]:
        """What every stage gives, with those of the first ones kept."""
        for stage in self.stages[len(kept):]:
            kept = (*kept, stage.compute(z, kept))
        return kept

    def __call__(self, z: Array) -> Array:
        """Log likelihood [P] of z [P, K]."""
        return self.parts(z)[-1][0]


class Prior(Protocol):
    """What is believed of the parameters beforehand."""

    def draw(self, count: int, dimension: int, rng: np.random.Generator) -> Array:
        """Independent draws [count, dimension]."""
        ...

    def log_density(self, z: Array) -> Array:
        """Log density [P] of draws z [P, K], but for a constant."""
        ...


class StandardNormal:
    """N(0, I)."""

    def draw(self, count: int, dimension: int, rng: np.random.Generator) -> Array:
        """Independent draws [count, dimension]."""
        return rng.standard_normal((count, dimension))

    def log_density(self, z: Array) -> Array:
        """Log density [P] of draws z [P, K], but for a constant."""
        return np.asarray(-0.5 * np.sum(z**2, axis=1))


@dataclass(frozen=True, eq=False)
class Posterior:
    """Equally weighted draws with what the sampler noticed on the way.

    ``log_evidence`` is the estimate of ln p(data); ``steps`` the number of temperatures;
    ``acceptance`` the mean acceptance of the last move of the first stage's parameters.
    """

    z: Array
    log_likelihood: Array
    log_evidence: float
    steps: int
    acceptance: float


@dataclass(frozen=True, eq=False)
class _Particles:
    z: Array
    parts: tuple[Parts, ...]

    @property
    def ll(self) -> Array:
        return self.parts[-1][0]

    def picked(self, index: NDArray[np.intp]) -> _Particles:
        parts = tuple(tuple(p[index] for p in part) for part in self.parts)
        return _Particles(self.z[index], parts)

    def replaced(self, accept: NDArray[np.bool_], by: _Particles) -> _Particles:
        def merged(old: Array, new: Array) -> Array:
            return np.where(accept.reshape(-1, *[1] * (old.ndim - 1)), new, old)

        parts = tuple(
            old if old is new else tuple(map(merged, old, new))
            for old, new in zip(self.parts, by.parts, strict=True)
        )
        return _Particles(merged(self.z, by.z), parts)


@dataclass(frozen=True, eq=False)
class _Gaussian:
    mean: Array  # [k]
    root: Array  # [k, k], lower triangle of the covariance's Cholesky factor

    @classmethod
    def of(cls, z: Array, weight: Array) -> _Gaussian:
        """Fitted to weighted particles; correlations shrunk by their sampling error.

        The share of shrinkage is that of Schafer & Strimmer 2005 (Stat. Appl. Genet. Mol.
        Biol. 4:32) with the large-sample variance of a correlation.
        """
        mean = weight @ z
        centred = z - mean
        covariance = (centred * weight[:, None]).T @ centred
        spread = np.sqrt(np.diag(covariance)) + 1e-3
        correlation = covariance / np.outer(spread, spread)
        off = correlation[~np.eye(len(mean), dtype=bool)]
        noise = np.sum(weight**2) * np.sum((1.0 - off**2) ** 2)
        share = min(1.0, noise / max(float(np.sum(off**2)), 1e-12))
        correlation = (1.0 - share) * correlation
        np.fill_diagonal(correlation, 1.0)
        widened = WIDENED * correlation * np.outer(spread, spread)
        return cls(mean, np.asarray(np.linalg.cholesky(widened), dtype=float))

    def whitened(self, z: Array) -> Array:
        return np.asarray(np.linalg.solve(self.root, (z - self.mean).T).T)

    def coloured(self, y: Array) -> Array:
        return np.asarray(self.mean + y @ self.root.T)


def sample_posterior(
    likelihood: Likelihood,
    *,
    particles: int,
    rng: np.random.Generator,
    moves: int = 3,
    on_step: Callable[[float], None] | None = None,
    prior: Prior | None = None,
) -> Posterior:
    """Draw from prior times likelihood.

    Parameters
    ----------
    likelihood : of z [P, K]
    particles : P
    rng : source of randomness
    moves : Metropolis moves of the first stage's parameters after each resampling
    on_step : called with beta after each step (progress; may raise to cancel)
    prior : N(0, I) when not given

    Returns
    -------
    Posterior with P equally weighted draws
    """
    believed = StandardNormal() if prior is None else prior
    z = believed.draw(particles, likelihood.dimension, rng)
    held = _Particles(z, likelihood.parts(z))
    columns = [likelihood.columns(i) for i in range(len(likelihood.stages))]
    size = [0.6] * len(columns)
    beta, evidence, acceptance, step = 0.0, 0.0, 1.0, 0
    while beta < 1.0:
        step += 1
        following = 1.0 if step >= MOST_STEPS else _next_power(held.ll, beta)
        log_weight = (following - beta) * held.ll
        peak = np.max(log_weight)
        weight = np.exp(log_weight - peak)
        evidence += float(np.log(np.mean(weight)) + peak)
        weight /= weight.sum()
        fitted = [_Gaussian.of(held.z[:, c], weight) for c in columns]
        held, beta = held.picked(_resample(weight, rng)), following
        for _ in range(moves if beta < 1.0 else moves + LAST_MOVES):
            for i, stage in enumerate(likelihood.stages):
                for _ in range(stage.moves):
                    held, accepted = _move(
                        likelihood, believed, held, beta, i, fitted[i], size[i], rng)
                    step_change = np.exp(accepted - TARGET_ACCEPTANCE)
                    size[i] = float(np.clip(size[i] * step_change, 0.1, 1.0))
                acceptance = accepted if i == 0 else acceptance
        if on_step is not None:
            on_step(beta)
    return Posterior(held.z, held.ll, evidence, step, acceptance)


def _next_power(ll: Array, beta: float) -> float:
    """Largest power whose incremental weights keep the effective sample size."""

    def share(candidate: float) -> float:
        weight = np.exp((candidate - beta) * (ll - np.max(ll)))
        return float(weight.sum() ** 2 / np.sum(weight**2) / len(ll))

    if share(1.0) >= ESS_SHARE:
        return 1.0
    low, high = beta, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if share(middle) >= ESS_SHARE else (low, middle)
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
    likelihood: Likelihood,
    prior: Prior,
    held: _Particles,
    beta: float,
    stage: int,
    gaussian: _Gaussian,
    size: float,
    rng: np.random.Generator,
) -> tuple[_Particles, float]:
    """One Metropolis step of a stage's columns, and the share of particles that accepted it.

    The proposal draws ``size`` of the way anew and leaves the Gaussian unchanged, so that a
    step is accepted by how much better the target divided by the Gaussian is at its end.
    """
    columns = likelihood.columns(stage)
    here = gaussian.whitened(held.z[:, columns])
    there = np.sqrt(1.0 - size**2) * here + size * rng.standard_normal(here.shape)
    z = held.z.copy()
    z[:, columns] = gaussian.coloured(there)
    proposed = _Particles(z, likelihood.parts(z, held.parts[:stage]))
    gained = prior.log_density(z) - prior.log_density(held.z)
    gained += 0.5 * np.sum(there**2 - here**2, axis=1)
    accept = np.log(rng.random(len(z))) < beta * (proposed.ll - held.ll) + gained
    return held.replaced(accept, proposed), float(np.mean(accept))
