"""Optuna's samplers with constraints as peers; the recommendation is the shared surrogate's."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import optuna

from experiments.job import Setting
from experiments.studies.bayesian import FIRST_RUNS
from experiments.studies.bench import Mapping
from experiments.studies.gaussian import beliefs_of, recommend_by_surrogate
from experiments.studies.strategy import Belief, Claim, Observation, Problem, observe

UNFINISHED = 40.0  # points below target that stand for a run without recoveries


class OptunaSearch:
    """Ask and tell; objective ln(run time), one constraint per analyte and one for finishing."""

    def __init__(self, problem: Problem, sampler: optuna.samplers.BaseSampler) -> None:
        optuna.logging.set_verbosity(optuna.logging.WARNING)
        self.problem = problem
        self.seen: list[Observation] = []
        self._study = optuna.create_study(sampler=sampler)
        self._asked: list[optuna.trial.Trial] = []

    def propose(self, n: int) -> list[Setting]:
        settings = []
        for _ in range(n):
            trial = self._study.ask()
            u = [trial.suggest_float(f.name, 0.0, 1.0) for f in self.problem.free]
            self._asked.append(trial)
            settings.append(self.problem.decode(np.array(u)))
        return settings

    def record(self, setting: Setting, result: Mapping) -> None:
        seen = observe(self.problem, setting, result)
        self.seen.append(seen)
        trial = self._asked.pop(0)
        missing = np.nan_to_num(self.problem.targets - seen.recovery, nan=UNFINISHED)
        finished = seen.is_finished
        for name, value in zip(self.problem.analytes, missing, strict=True):
            trial.set_constraint(name, float(value))
        trial.set_constraint("finished", -1.0 if finished else 1.0)
        time = seen.run_time if np.isfinite(seen.run_time) else self.problem.max_run_time
        self._study.tell(trial, float(np.log(time)))

    def claim(self) -> Claim:
        return recommend_by_surrogate(self.problem, self.seen, self.problem.seed)

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        return beliefs_of(self.problem, self.seen, settings)


class OptunaTPE(OptunaSearch):
    """Tree-structured Parzen estimator, multivariate, constant liar for pending runs."""

    def __init__(self, problem: Problem, budget: int) -> None:  # noqa: ARG002 (open-ended)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
            sampler = optuna.samplers.TPESampler(
                seed=problem.seed, n_startup_trials=FIRST_RUNS, multivariate=True,
                constant_liar=True,
            )
        super().__init__(problem, sampler)


class OptunaGP(OptunaSearch):
    """Gaussian-process sampler with constraints (needs torch)."""

    def __init__(self, problem: Problem, budget: int) -> None:  # noqa: ARG002 (open-ended)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
            sampler = optuna.samplers.GPSampler(
                seed=problem.seed, n_startup_trials=FIRST_RUNS,
            )
        super().__init__(problem, sampler)
