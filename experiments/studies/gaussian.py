"""Gaussian-process surrogate with constrained expected improvement (scikit-learn).

One process for ln(run time), one for each recovery, one for finishing. Noise is known from
the stated bench noise, so predictions are of the true mean.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, qmc
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Kernel, Matern

from experiments.job import Setting
from experiments.studies.strategy import (
    Belief,
    Claim,
    Observation,
    Problem,
    normal_belief,
    probability_of_targets,
)
from models.system import Array

CANDIDATES = 2048
LABEL_NOISE = 0.1


def expected_improvement(mean: Array, sd: Array, best: float) -> Array:
    """Expected improvement below ``best`` for a normal prediction (minimisation).

    (best - m) Phi(z) + s phi(z) with z = (best - m) / s (Jones, Schonlau & Welch 1998).
    """
    sd = np.maximum(np.asarray(sd, dtype=float), 1e-12)
    gain = best - np.asarray(mean, dtype=float)
    z = gain / sd
    return np.asarray(gain * norm.cdf(z) + sd * norm.pdf(z))


def _kernel(dimension: int) -> Kernel:
    """Bounds settled on the settled benches: wider ones made the intervals too short."""
    return ConstantKernel(1.0, (0.3, 20.0)) * Matern(
        np.full(dimension, 0.7), (0.25, 2.0), nu=2.5
    )


@dataclass(frozen=True, eq=False)
class Process:
    """A fitted Gaussian process of one response, in the response's own unit."""

    regressor: GaussianProcessRegressor
    shift: float
    scale: float

    @classmethod
    def fit(cls, u: Array, y: Array, noise_sd: Array, like: Process | None = None) -> Process:
        """Fit y [N] at u [N, D] with known noise [N]; ``like`` lends its kernel unchanged."""
        shift = float(y.mean())
        scale = float(max(y.std(), 1e-6 + 0.3 * float(np.mean(noise_sd))))
        regressor = GaussianProcessRegressor(
            _kernel(u.shape[1]) if like is None else like.regressor.kernel_,
            alpha=(noise_sd / scale) ** 2 + 1e-8,
            optimizer="fmin_l_bfgs_b" if like is None else None,
        )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConvergenceWarning)
            regressor.fit(u, (y - shift) / scale)
        return cls(regressor, shift, scale)

    def predict(self, u: Array) -> tuple[Array, Array]:
        """Mean and standard deviation of the noise-free response, [N]."""
        mean, sd = self.regressor.predict(u, return_std=True)
        return self.shift + self.scale * mean, self.scale * sd


@dataclass(frozen=True, eq=False)
class Forecasts:
    """Predictions at N settings: ln(run time) and recoveries, chance of finishing."""

    ln_time: Array
    ln_time_sd: Array
    recovery: Array
    recovery_sd: Array
    finish: Array


@dataclass(frozen=True, eq=False)
class GaussianSurrogate:
    """All processes of one job."""

    problem: Problem
    time: Process
    recoveries: tuple[Process, ...]
    finishing: Finishing | None

    @classmethod
    def fit(
        cls, problem: Problem, seen: Sequence[Observation], like: GaussianSurrogate | None = None
    ) -> GaussianSurrogate | None:
        """None while fewer than two runs have finished; ``like`` lends its kernels."""
        done = [o for o in seen if o.is_finished]
        if len(done) < 2:
            return None
        u = np.array([o.u for o in done])
        ln_time = np.log([o.run_time for o in done])
        time = Process.fit(u, ln_time, np.full(len(done), problem.time_noise),
                           None if like is None else like.time)
        recoveries = []
        for a in range(len(problem.analytes)):
            y = np.array([o.recovery[a] for o in done])
            known = ~np.isnan(y)
            noise = problem.recovery_noise(y[known])
            recoveries.append(Process.fit(
                u[known], y[known], noise, None if like is None else like.recoveries[a]))
        finishing = Finishing.fit(seen) if like is None else like.finishing
        return cls(problem, time, tuple(recoveries), finishing)

    def forecast(self, u: Array) -> Forecasts:
        """Predict at coded settings [N, D]."""
        mean, sd = self.time.predict(u)
        each = [p.predict(u) for p in self.recoveries]
        finish = (
            np.ones(len(u)) if self.finishing is None
            else self.finishing.probability(u)
        )
        return Forecasts(mean, sd, np.column_stack([m for m, _ in each]),
                         np.column_stack([s for _, s in each]), finish)

    def feasibility(self, forecasts: Forecasts) -> Array:
        """[N] probability that the run finishes and every target is met."""
        met = probability_of_targets(self.problem, forecasts.recovery, forecasts.recovery_sd)
        return np.asarray(met * forecasts.finish)


@dataclass(frozen=True, eq=False)
class Finishing:
    """Chance of finishing: a process of +1 (finished) and -1, read as its sign.

    A Gaussian-process classifier was tried and stays below the assurance everywhere.
    """

    process: Process

    @classmethod
    def fit(cls, seen: Sequence[Observation]) -> Finishing | None:
        """None while all runs ended alike."""
        labels = np.array([1.0 if o.is_finished else -1.0 for o in seen])
        if abs(labels.sum()) == len(labels):
            return None
        u = np.array([o.u for o in seen])
        return cls(Process.fit(u, labels, np.full(len(labels), LABEL_NOISE)))

    def probability(self, u: Array) -> Array:
        """[N] at coded settings [N, D]."""
        mean, sd = self.process.predict(u)
        return np.asarray(norm.cdf(mean / np.maximum(sd, 1e-9)))


def candidates(problem: Problem, seen: Sequence[Observation], seed: int) -> Array:
    """Coded settings [N, D] to choose from: the window and the neighbourhood of good runs."""
    whole = qmc.Sobol(problem.dimension, seed=seed).random(CANDIDATES)
    rng = np.random.default_rng(seed)
    near = [
        np.clip(o.u + 0.08 * rng.standard_normal((96, problem.dimension)), 0.0, 1.0)
        for o in sorted((o for o in seen if o.is_finished), key=_badness(problem))[:5]
    ]
    rows = np.vstack([whole, *near])
    return np.array([problem.encode(problem.decode(u)) for u in rows])


def _badness(problem: Problem) -> Callable[[Observation], tuple[float, float]]:
    """Order runs by points below target, then by run time."""

    def rank(o: Observation) -> tuple[float, float]:
        missing = np.nan_to_num(problem.targets - o.recovery, nan=50.0)
        return float(missing.clip(0.0).max()), o.run_time

    return rank


def constrained_improvement(
    surrogate: GaussianSurrogate, forecasts: Forecasts, tested: Array
) -> Array:
    """[N] expected improvement in ln(run time) times the probability of feasibility.

    The incumbent is the fastest tested setting that is more likely feasible than not; while
    there is none, the probability of feasibility alone is maximised.
    """
    chance = surrogate.feasibility(forecasts)
    at = surrogate.forecast(tested)
    likely = surrogate.feasibility(at) > 0.5
    if not likely.any():
        return chance
    best = float(at.ln_time[likely].min())
    return expected_improvement(forecasts.ln_time, forecasts.ln_time_sd, best) * chance


def recommend_by_surrogate(problem: Problem, seen: Sequence[Observation], seed: int) -> Claim:
    """Fastest setting whose probability of feasibility reaches the assurance."""
    surrogate = GaussianSurrogate.fit(problem, seen)
    if surrogate is None:
        return Claim(None, 0.0)
    rows = candidates(problem, seen, seed)
    rng = np.random.default_rng(seed)
    for radius in (0.04, 0.02, 0.0):
        forecasts = surrogate.forecast(rows)
        chance = surrogate.feasibility(forecasts)
        good = chance >= problem.assurance
        i = (int(np.argmin(np.where(good, forecasts.ln_time, np.inf))) if good.any()
             else int(np.argmax(chance)))
        if radius > 0.0:
            around = rows[i] + radius * rng.standard_normal((200, problem.dimension))
            near = np.vstack([rows[i], np.clip(around, 0.0, 1.0)])
            rows = np.array([problem.encode(problem.decode(u)) for u in near])
    setting = problem.decode(rows[i])
    return Claim(setting if good.any() else None, float(chance[i]), setting,
                 belief=belief_at(surrogate, forecasts, i))


def beliefs_of(
    problem: Problem, seen: Sequence[Observation], settings: Sequence[Setting]
) -> list[Belief | None]:
    """The surrogate's intervals at given settings."""
    surrogate = GaussianSurrogate.fit(problem, seen)
    if surrogate is None or not settings:
        return [None] * len(settings)
    forecasts = surrogate.forecast(np.array([problem.encode(s) for s in settings]))
    return [belief_at(surrogate, forecasts, i) for i in range(len(settings))]


def belief_at(surrogate: GaussianSurrogate, forecasts: Forecasts, i: int) -> Belief:
    """What the surrogate believes of the i-th of N settings."""
    return normal_belief(
        surrogate.problem,
        (float(forecasts.ln_time[i]), float(forecasts.ln_time_sd[i])),
        forecasts.recovery[i], forecasts.recovery_sd[i],
        float(surrogate.feasibility(forecasts)[i]),
    )
