"""Peers that run a classical design and fit response surfaces to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc, t

from experiments.job import Setting
from experiments.studies.bench import Mapping
from experiments.studies.designs import (
    box_behnken,
    central_composite,
    quadratic_terms,
    rotatable_distance,
)
from experiments.studies.gaussian import Finishing
from experiments.studies.strategy import (
    LEVELS,
    Belief,
    Claim,
    Observation,
    Problem,
    observe,
)
from models.system import Array

CENTRE_RUNS = 3
CANDIDATES = 4096
FOLLOW_UP = (0.5, 0.8, 0.95)  # probabilities at which runs after the design aim
SPARE = 2  # degrees of freedom a surface must leave for its error


def _terms(x: Array, order: int) -> Array:
    """[N, P] full quadratic (2), linear with squares (1) or linear (0)."""
    x = np.atleast_2d(x)
    if order == 2:
        return quadratic_terms(x)
    linear = np.column_stack([np.ones(len(x)), x])
    return np.column_stack([linear, x**2]) if order == 1 else linear


@dataclass(frozen=True, eq=False)
class Surface:
    """A least-squares surface of the highest order the runs allow, with its error."""

    order: int
    coefficients: Array
    covariance: Array
    error: float
    freedom: int

    @classmethod
    def fit(cls, x: Array, y: Array, noise: float) -> Surface | None:
        """Fit y [N] at x [N, D]; the error is at least the known noise of a run."""
        for order in (2, 1, 0):
            matrix = _terms(x, order)
            freedom = len(y) - matrix.shape[1]
            if freedom < SPARE or np.linalg.matrix_rank(matrix) < matrix.shape[1]:
                continue
            inverse = np.asarray(np.linalg.inv(matrix.T @ matrix), dtype=float)
            coefficients = inverse @ matrix.T @ y
            residual = y - matrix @ coefficients
            error = max(float(np.sqrt(residual @ residual / freedom)), noise)
            return cls(order, coefficients, inverse, error, freedom)
        return None

    def predict(self, x: Array) -> tuple[Array, Array]:
        """Mean and standard error of the mean, [N]."""
        terms = _terms(x, self.order)
        leverage = np.einsum("ni,ij,nj->n", terms, self.covariance, terms)
        return terms @ self.coefficients, self.error * np.sqrt(leverage)


@dataclass(frozen=True, eq=False)
class SurfaceForecast:
    """Surfaces of time and recoveries at N settings."""

    ln_time: Array
    ln_time_error: Array
    recovery: Array
    recovery_error: Array
    freedom: tuple[int, ...]  # time, then each recovery
    chance: Array


class ResponseSurface:
    """Run a design in random order, fit surfaces, then follow up at the predicted optimum."""

    def __init__(self, problem: Problem, design: Array) -> None:
        self.problem = problem
        self.seen: list[Observation] = []
        order = np.random.default_rng(problem.seed).permutation(len(design))
        self._planned = [problem.decode(0.5 * (row + 1.0)) for row in design[order]]

    def propose(self, n: int) -> list[Setting]:
        planned, self._planned = self._planned[:n], self._planned[n:]
        if planned:
            return planned
        window = self._window()
        forecast = self._forecast(window)
        if forecast is None:
            return [self.problem.decode(u) for u in window[:n]]
        return [self.problem.decode(window[_pick(forecast, level)[0]])
                for level in FOLLOW_UP[:n]]

    def record(self, setting: Setting, result: Mapping) -> None:
        self.seen.append(observe(self.problem, setting, result))

    def claim(self) -> Claim:
        window = self._window()
        forecast = self._forecast(window)
        if forecast is None:
            return Claim(None, 0.0)
        i, found = _pick(forecast, self.problem.assurance)
        setting = self.problem.decode(window[i])
        return Claim(setting if found else None, float(forecast.chance[i]), setting,
                     belief=self.beliefs([setting])[0])

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        if not settings:
            return []
        forecast = self._forecast(np.array([self.problem.encode(s) for s in settings]))
        if forecast is None:
            return [None] * len(settings)
        return [self._belief(forecast, i) for i in range(len(settings))]

    def _window(self) -> Array:
        rows = qmc.Sobol(self.problem.dimension, seed=self.problem.seed).random(CANDIDATES)
        return np.array([self.problem.encode(self.problem.decode(u)) for u in rows])

    def _forecast(self, u: Array) -> SurfaceForecast | None:
        done = [o for o in self.seen if o.is_finished]
        if len(done) < self.problem.dimension + 1 + SPARE:
            return None
        x = 2.0 * np.array([o.u for o in done]) - 1.0
        time = Surface.fit(x, np.log([o.run_time for o in done]), self.problem.time_noise)
        surfaces = []
        for a in range(len(self.problem.analytes)):
            y = np.array([o.recovery[a] for o in done])
            known = ~np.isnan(y)
            noise = float(np.median(self.problem.recovery_noise(y[known])))
            surfaces.append(Surface.fit(x[known], y[known], noise))
        if time is None or any(s is None for s in surfaces):
            return None
        fitted = [s for s in surfaces if s is not None]
        coded = 2.0 * u - 1.0
        ln_time, ln_error = time.predict(coded)
        each = [s.predict(coded) for s in fitted]
        mean = np.column_stack([m for m, _ in each])
        error = np.column_stack([e for _, e in each])
        z = (mean - self.problem.targets) / np.maximum(error, 1e-9)
        met = np.column_stack([t.cdf(z[:, a], s.freedom) for a, s in enumerate(fitted)])
        chance = met.prod(axis=1)
        finishing = Finishing.fit(self.seen)
        if finishing is not None:
            chance = chance * finishing.probability(u)
        freedom = (time.freedom, *(s.freedom for s in fitted))
        return SurfaceForecast(ln_time, ln_error, mean, error, freedom, chance)

    def _belief(self, forecast: SurfaceForecast, i: int) -> Belief:
        def pair(mean: float, error: float, freedom: int, level: float) -> tuple[float, float]:
            half = float(t.ppf(0.5 + level / 2, freedom)) * error
            return mean - half, mean + half

        time = {}
        for level in LEVELS:
            low, high = pair(float(forecast.ln_time[i]), float(forecast.ln_time_error[i]),
                             forecast.freedom[0], level)
            time[level] = (float(np.exp(low)), float(np.exp(high)))
        recovery = {
            name: {level: pair(float(forecast.recovery[i, a]),
                               float(forecast.recovery_error[i, a]),
                               forecast.freedom[1 + a], level) for level in LEVELS}
            for a, name in enumerate(self.problem.analytes)
        }
        return Belief(time, recovery, float(forecast.chance[i]))


def _pick(forecast: SurfaceForecast, level: float) -> tuple[int, bool]:
    """Fastest setting with at least that probability, else the most probable one."""
    good = forecast.chance >= level
    if good.any():
        return int(np.argmin(np.where(good, forecast.ln_time, np.inf))), True
    return int(np.argmax(forecast.chance)), False


class BoxBehnken(ResponseSurface):
    """Box-Behnken design with three centre runs (15 runs for three factors)."""

    def __init__(self, problem: Problem, budget: int) -> None:  # noqa: ARG002 (fixed size)
        super().__init__(problem, box_behnken(problem.dimension, CENTRE_RUNS))


class CentralComposite(ResponseSurface):
    """Rotatable central composite inscribed in the window, three centre runs."""

    def __init__(self, problem: Problem, budget: int) -> None:  # noqa: ARG002 (fixed size)
        alpha = rotatable_distance(problem.dimension)
        design = central_composite(problem.dimension, alpha, CENTRE_RUNS) / alpha
        super().__init__(problem, design)
