"""One factor at a time: what is done by hand when nobody plans the trials."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from experiments.job import Setting
from experiments.studies.bench import Mapping
from experiments.studies.strategy import (
    Belief,
    Claim,
    Observation,
    Problem,
    normal_belief,
    observe,
    probability_of_targets,
)
from models.system import Array

LEVELS_TRIED = ((0.15, 0.5, 0.85), (-0.25, 0.0, 0.25), (-0.12, 0.0, 0.12), (-0.06, 0.0, 0.06))


class OneFactorAtATime:
    """Line searches along one factor after the other, finer each round, from the centre.

    Three levels of a factor make one batch; the best setting so far is kept (fastest that
    met all targets, else the one least below). Only settings that were run are recommended,
    judged by the mean of their runs and the known noise.
    """

    def __init__(self, problem: Problem, budget: int) -> None:  # noqa: ARG002 (open-ended)
        self.problem = problem
        self.seen: list[Observation] = []
        self._order = list(np.random.default_rng(problem.seed).permutation(problem.dimension))
        self._step = 0
        self._queue: list[Array] = []

    def propose(self, n: int) -> list[Setting]:
        while len(self._queue) < n:
            self._queue += self._next_line()
        chosen, self._queue = self._queue[:n], self._queue[n:]
        return [self.problem.decode(u) for u in chosen]

    def record(self, setting: Setting, result: Mapping) -> None:
        self.seen.append(observe(self.problem, setting, result))

    def _next_line(self) -> list[Array]:
        count = self.problem.dimension
        levels = LEVELS_TRIED[min(self._step // count, len(LEVELS_TRIED) - 1)]
        factor = self._order[self._step % count]
        base = self._best()
        rows = []
        for level in levels:
            u = base.copy()
            u[factor] = level if self._step < count else np.clip(u[factor] + level, 0.0, 1.0)
            rows.append(u)
        self._step += 1
        return rows

    def _best(self) -> Array:
        if not self.seen:
            return np.full(self.problem.dimension, 0.5)

        def rank(o: Observation) -> tuple[float, float]:
            if not o.is_finished:
                return 1e3, 0.0
            missing = np.nan_to_num(self.problem.targets - o.recovery, nan=50.0)
            return float(missing.clip(0.0).max()), o.run_time

        best = min(self.seen, key=rank)
        return best.u if best.is_finished else np.full(self.problem.dimension, 0.5)

    def _tested(self) -> list[tuple[Array, float, Array, Array, float]]:
        """Each setting run and always finished: u, mean ln time, recoveries, sds, chance."""
        groups: dict[tuple[float, ...], list[Observation]] = {}
        for o in self.seen:
            groups.setdefault(tuple(np.round(o.u, 9)), []).append(o)
        tested = []
        for runs in groups.values():
            if not all(o.is_finished for o in runs):
                continue
            recovery = np.array([o.recovery for o in runs])
            if np.isnan(recovery).all(axis=0).any():
                continue
            mean = np.nanmean(recovery, axis=0)
            sd = self.problem.recovery_noise(mean) / np.sqrt(
                (~np.isnan(recovery)).sum(axis=0))
            chance = float(probability_of_targets(self.problem, mean[None], sd[None])[0])
            tested.append((runs[0].u, float(np.mean(np.log([o.run_time for o in runs]))),
                           mean, sd, chance))
        return tested

    def claim(self) -> Claim:
        tested = self._tested()
        if not tested:
            return Claim(None, 0.0)
        good = [s for s in tested if s[4] >= self.problem.assurance]
        u, _, _, _, chance = (min(good, key=lambda s: s[1]) if good
                              else max(tested, key=lambda s: s[4]))
        setting = self.problem.decode(u)
        return Claim(setting if good else None, chance, setting,
                     belief=self.beliefs([setting])[0])

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        tested = {tuple(np.round(s[0], 9)): s for s in self._tested()}
        beliefs: list[Belief | None] = []
        for setting in settings:
            known = tested.get(tuple(np.round(self.problem.encode(setting), 9)))
            beliefs.append(None if known is None else normal_belief(
                self.problem, (known[1], self.problem.time_noise), known[2], known[3], known[4]))
        return beliefs
