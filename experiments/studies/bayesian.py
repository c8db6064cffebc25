"""Peers that share the Gaussian-process recommendation: Sobol search and constrained EI."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import qmc

from experiments.job import Setting
from experiments.studies.bench import Mapping
from experiments.studies.gaussian import (
    GaussianSurrogate,
    beliefs_of,
    candidates,
    constrained_improvement,
    recommend_by_surrogate,
)
from experiments.studies.strategy import Belief, Claim, Observation, Problem, observe
from models.system import Array

FIRST_RUNS = 6


class SobolSearch:
    """Space-filling runs; the recommendation comes from the Gaussian process."""

    def __init__(self, problem: Problem, budget: int) -> None:  # noqa: ARG002 (not needed)
        self.problem = problem
        self.seen: list[Observation] = []
        self._sequence = qmc.Sobol(problem.dimension, seed=problem.seed)

    def propose(self, n: int) -> list[Setting]:
        return [self.problem.decode(self._sequence.random(1)[0]) for _ in range(n)]

    def record(self, setting: Setting, result: Mapping) -> None:
        self.seen.append(observe(self.problem, setting, result))

    def claim(self) -> Claim:
        return recommend_by_surrogate(self.problem, self.seen, self.problem.seed)

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        return beliefs_of(self.problem, self.seen, settings)


class ConstrainedImprovement(SobolSearch):
    """Batches by constrained expected improvement; pending runs enter at their prediction."""

    def propose(self, n: int) -> list[Setting]:
        if len(self.seen) < FIRST_RUNS or not any(o.is_finished for o in self.seen):
            return super().propose(n)
        batch: list[Setting] = []
        pending: list[Observation] = []
        known = GaussianSurrogate.fit(self.problem, self.seen)
        if known is None:
            return super().propose(n)
        surrogate = known
        for k in range(n):
            u = self._next(surrogate, pending, k)
            forecast = surrogate.forecast(u[None, :])
            pending.append(Observation(
                u, float(np.exp(forecast.ln_time[0])), "finished", forecast.recovery[0]))
            batch.append(self.problem.decode(u))
            fitted = GaussianSurrogate.fit(self.problem, [*self.seen, *pending], known)
            surrogate = fitted if fitted is not None else known
        return batch

    def _next(self, surrogate: GaussianSurrogate, pending: list[Observation], k: int) -> Array:
        seed = self.problem.seed + 101 * len(self.seen) + k
        rows = candidates(self.problem, self.seen, seed)
        tested = np.array([o.u for o in (*self.seen, *pending)])
        rng = np.random.default_rng(seed)
        for radius in (0.05, 0.02, 0.0):
            value = constrained_improvement(surrogate, surrogate.forecast(rows), tested)
            best = rows[int(np.argmax(value))]
            if radius > 0.0:
                near = best + radius * rng.standard_normal((200, self.problem.dimension))
                rows = np.vstack([best, np.clip(near, 0.0, 1.0)])
        return np.asarray(self.problem.encode(self.problem.decode(best)))
