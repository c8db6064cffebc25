"""The surrogate: run model with uncertain parameters plus a discrepancy, fitted to bench runs.

The posterior is explored by tempered sequential Monte Carlo over the trajectory parameters
and five scales (discrepancies, noises, length); analyte parameters are integrated out at
each particle. Scikit-learn conventions: ``fit``, ``predict(..., return_std=True)``,
``clone``-able, usable in ``cross_val_score``.

======== ================================================ ==========
symbol   meaning                                          shape
======== ================================================ ==========
P        particles
n        runs in the data
M        settings asked for
O        outputs: ln(run time), then A recoveries         1 + A
======== ================================================ ==========
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, log_expit, log_ndtr
from sklearn.base import BaseEstimator, RegressorMixin

from models import analyte_evidence as grid
from models.bench_data import BenchData
from models.discrepancy import PriorPaths, condition, gaussian_evidence, squared_distance
from models.noise import RUN_TIME_SD
from models.parameters import NAMES
from models.posterior import Posterior, sample_posterior
from models.run_model import RunBatch
from models.system import Array

SCALES = ("time_discrepancy", "recovery_discrepancy", "time_noise", "recovery_noise", "length")
SCALE_MEDIAN = np.array([0.06, 0.025, 1.0, 1.0, 0.6])
SCALE_SD = np.array([1.0, 1.0, 0.30, 0.30, 0.40])
BOIL_OVER_SHARPNESS = 0.12
"""How sharply ln(boil-over index) tells boil-over from none."""


class Simulator(Protocol):
    """Runs of the run model for setting rows paired with particles."""

    @property
    def spike_mol(self) -> Array: ...

    @property
    def volatility_sd(self) -> Array: ...

    def __call__(self, x: Array, z: Array) -> RunBatch:
        """Simulate rows x [N, D] with trajectory parameters z [N, K]."""
        ...


@dataclass(frozen=True, eq=False)
class Draws:
    """Posterior draws at M settings; P draws each.

    ``ln_time``, ``recovery`` are means of the true value given the particle, ``*_sd`` what
    the discrepancy leaves open; ``sample_*`` one joint draw of the truth over the settings.
    """

    ln_time: Array  # [M, P]
    ln_time_sd: Array
    recovery: Array  # [M, P, A]
    recovery_sd: Array
    sample_ln_time: Array
    sample_recovery: Array
    ln_boil_over: Array  # [M, P]
    peak_temperature: Array  # [M, P] K
    time_noise: Array  # [P] sd of ln time of one run
    recovery_noise: Array  # [P] multiplier on run scatter

    @property
    def no_boil_over(self) -> Array:
        """Probability [M, P] that a run keeps its liquid."""
        return np.asarray(expit(-self.ln_boil_over / BOIL_OVER_SHARPNESS))


class EvaporationSurrogate(RegressorMixin, BaseEstimator):  # type: ignore[misc]
    """Run model plus discrepancy, learnt from bench runs.

    Parameters
    ----------
    simulator : the run model for this job
    particles : posterior draws kept
    moves : Metropolis moves per tempering step
    seed : of all randomness
    """

    def __init__(
        self, simulator: Simulator, particles: int = 112, moves: int = 2, seed: int = 0
    ) -> None:
        self.simulator = simulator
        self.particles = particles
        self.moves = moves
        self.seed = seed

    def fit(
        self, data: BenchData, y: None = None,  # noqa: ARG002 - scikit-learn passes it
        on_step: Callable[[float], None] | None = None,
    ) -> EvaporationSurrogate:
        """Learn from ``data``; without runs the posterior is the prior."""
        rng = np.random.default_rng([self.seed, 11])
        self.data_ = data
        self._d2 = squared_distance(data.coded, data.coded)
        self._volatility_sd = np.asarray(self.simulator.volatility_sd, dtype=float)
        self._multiplier = np.exp(
            self._volatility_sd[:, None] * grid.VOLATILITY_NODES[None, :]
        )
        analytes = data.recovery.shape[1]
        self._uniform = rng.random((self.particles, analytes))
        dimension = len(NAMES) + len(SCALES)
        if data.runs:
            self.posterior_ = sample_posterior(
                self._log_likelihood, dimension, particles=self.particles, rng=rng,
                moves=self.moves, on_step=on_step,
            )
        else:
            z = rng.standard_normal((self.particles, dimension))
            self.posterior_ = Posterior(z, np.zeros(self.particles), 0.0, 0, 1.0)
        self._settle(rng)
        return self

    # -- likelihood ------------------------------------------------------------------

    def _scales(self, z: Array) -> Array:
        return SCALE_MEDIAN * np.exp(SCALE_SD * z[:, len(NAMES):])

    def _simulate(self, x: Array, z: Array) -> RunBatch:
        """All rows x [n, D] with all particles: particle-major [P * n]."""
        rows = np.tile(x, (len(z), 1))
        return self.simulator(rows, np.repeat(z[:, : len(NAMES)], len(x), axis=0))

    def _time_terms(self, batch: RunBatch, scales: Array) -> tuple[Array, Array]:
        """Residual and variance of ln(run time) [P, n]; variance inf where there is none."""
        data = self.data_
        predicted = ln_run_time(batch, data.ln_cap).reshape(-1, data.runs)
        residual = np.where(np.isfinite(data.ln_time), data.ln_time - predicted, 0.0)
        noise = np.broadcast_to((RUN_TIME_SD * scales[:, 2:3]) ** 2, residual.shape)
        return residual, np.where(np.isfinite(data.ln_time), noise, np.inf)

    def _recovery_variance(self, scales: Array) -> Array:
        """Noise variance [P, n, A]; inf where there is no reading."""
        data = self.data_
        variance = data.recovery_variance[None] * scales[:, 3, None, None] ** 2
        return np.where(np.isfinite(data.recovery)[None], variance, np.inf)

    def _log_likelihood(self, z: Array) -> Array:
        data, scales = self.data_, self._scales(z)
        batch = self._simulate(data.x, z)
        residual, variance = self._time_terms(batch, scales)
        total = gaussian_evidence(self._d2, scales[:, 0], scales[:, 4], variance, residual)
        total += self._outcome_terms(batch, scales)
        evidence, _ = self._analytes(batch, scales, self._uniform[: len(z)])
        return np.asarray(total + evidence.sum(axis=1))

    def _outcome_terms(self, batch: RunBatch, scales: Array) -> Array:
        """Log probability [P] of boil-over and of runs that were not dry in time."""
        data = self.data_
        shape = (-1, data.runs)
        ln_index = np.log(np.maximum(batch.boil_over_index, 1e-6)).reshape(shape)
        ln_index = ln_index / BOIL_OVER_SHARPNESS
        seen = np.where(data.boiled_over, log_expit(ln_index), log_expit(-ln_index))
        total = np.where(data.outcome_known, np.maximum(seen, -12.0), 0.0).sum(axis=1)
        if data.not_dry.any():
            predicted = ln_run_time(batch, data.ln_cap).reshape(shape)
            spread = np.hypot(RUN_TIME_SD * scales[:, 2:3], scales[:, 0:1])
            late = log_ndtr((predicted - data.ln_cap) / spread)
            total += np.where(data.not_dry, np.maximum(late, -30.0), 0.0).sum(axis=1)
        return np.asarray(total)

    def _analytes(
        self, batch: RunBatch, scales: Array, uniform: Array
    ) -> tuple[Array, NDArray[np.int64]]:
        data = self.data_
        runs, analytes = data.recovery.shape
        table = grid.survival_table(
            batch.boil_exponent, batch.film_dose, batch.film_moles,
            self.simulator.spike_mol, self._multiplier,
        ).reshape(len(scales), runs, analytes, -1)
        dose = batch.thermal_dose.mean(axis=1).reshape(len(scales), runs)
        amp = np.repeat(scales[:, 1:2], analytes, axis=1)
        return grid.analyte_evidence(
            table, dose, np.nan_to_num(data.recovery), self._recovery_variance(scales),
            self._d2, amp, scales[:, 4], grid.THERMAL_RATES, grid.CEILINGS,
            grid.log_prior(), uniform,
        )

    def _settle(self, rng: np.random.Generator) -> None:
        """Draw analyte parameters for the kept particles and store what prediction needs."""
        data, z = self.data_, self.posterior_.z
        scales = self._scales(z)
        runs, analytes = data.recovery.shape
        outputs = analytes + 1
        self._paths = PriorPaths(len(z), outputs, data.coded.shape[1], rng)
        self._noise = rng.standard_normal((len(z), runs, outputs))
        if runs:
            batch = self._simulate(data.x, z)
            _, picked = self._analytes(batch, scales, rng.random((len(z), analytes)))
        else:
            batch = None
            weights = [np.exp(w) for w in grid.log_prior()]
            picked = np.stack(
                [rng.choice(len(w), size=(len(z), analytes), p=w) for w in weights], axis=2
            )
        jitter = rng.uniform(-0.5, 0.5, picked.shape[:2]) * np.diff(grid.VOLATILITY_NODES)[0]
        self.volatility_z_ = grid.VOLATILITY_NODES[picked[..., 0]] + jitter
        self.thermal_rate_ = grid.THERMAL_RATES[picked[..., 1]]
        self.ceiling_ = grid.CEILINGS[picked[..., 2]]
        self.scales_ = scales
        self._residual = np.zeros((len(z), runs, outputs))
        self._variance = np.full((len(z), runs, outputs), np.inf)
        if batch is not None:
            residual, variance = self._time_terms(batch, scales)
            self._residual[:, :, 0], self._variance[:, :, 0] = residual, variance
            physics = self._recovery(batch, runs)
            self._residual[:, :, 1:] = np.nan_to_num(data.recovery)[None] - physics
            self._variance[:, :, 1:] = self._recovery_variance(scales)

    def _recovery(self, batch: RunBatch, rows: int) -> Array:
        """Recovery of the run model [P, rows, A] with each particle's analyte parameters."""
        multiplier = np.exp(self._volatility_sd * self.volatility_z_)
        alive = grid.survival_points(
            batch.boil_exponent, batch.film_dose, batch.film_moles, self.simulator.spike_mol,
            np.repeat(multiplier, rows, axis=0),
        ).reshape(-1, rows, multiplier.shape[1])
        dose = batch.thermal_dose.mean(axis=1).reshape(-1, rows)
        decay = np.exp(-self.thermal_rate_[:, None, :] * dose[:, :, None])
        return np.asarray(self.ceiling_[:, None, :] * alive * decay)

    # -- prediction ------------------------------------------------------------------

    def draws(self, x: Array, coded: Array) -> Draws:
        """Posterior draws of the truth at settings x [M, D], coded [M, F]."""
        z, data, scales = self.posterior_.z, self.data_, self.scales_
        rows = len(x)
        batch = self._simulate(x, z)
        time = ln_run_time(batch, data.ln_cap).reshape(-1, rows)
        recovery = self._recovery(batch, rows)
        analytes = recovery.shape[2]
        amp = np.concatenate([scales[:, :1], np.repeat(scales[:, 1:2], analytes, 1)], axis=1)
        mean, sd, sample = condition(
            self._d2, squared_distance(coded, data.coded), amp, scales[:, 4],
            self._variance, self._residual,
            self._paths.at(data.coded, scales[:, 4]), self._paths.at(coded, scales[:, 4]),
            self._noise,
        )
        return Draws(
            ln_time=(time + mean[:, :, 0]).T,
            ln_time_sd=sd[:, :, 0].T,
            recovery=(recovery + mean[:, :, 1:]).transpose(1, 0, 2),
            recovery_sd=sd[:, :, 1:].transpose(1, 0, 2),
            sample_ln_time=(time + sample[:, :, 0]).T,
            sample_recovery=(recovery + sample[:, :, 1:]).transpose(1, 0, 2),
            ln_boil_over=np.log(np.maximum(batch.boil_over_index, 1e-6)).reshape(-1, rows).T,
            peak_temperature=batch.peak_temperature.reshape(-1, rows).T,
            time_noise=RUN_TIME_SD * scales[:, 2],
            recovery_noise=scales[:, 3],
        )

    def physics_draws(
        self, simulator: Simulator, x: Array
    ) -> tuple[Array, Array, Array, Array]:
        """Run model alone under another simulator (a changed job) with the same particles.

        Returns
        -------
        ln_time [M, P], recovery [M, P, A], no_boil_over [M, P], peak_temperature [M, P] K
        """
        rows, z = len(x), self.posterior_.z
        batch = simulator(np.tile(x, (len(z), 1)), np.repeat(z[:, : len(NAMES)], rows, axis=0))
        index = np.log(np.maximum(batch.boil_over_index, 1e-6)).reshape(-1, rows)
        return (
            ln_run_time(batch, self.data_.ln_cap).reshape(-1, rows).T,
            self._recovery(batch, rows).transpose(1, 0, 2),
            np.asarray(expit(-index / BOIL_OVER_SHARPNESS)).T,
            batch.peak_temperature.reshape(-1, rows).T,
        )

    def predict(
        self, data: BenchData, return_std: bool = False
    ) -> Array | tuple[Array, Array]:
        """Mean of the truth [M, O] (ln run time, recoveries), with its standard deviation."""
        draws = self.draws(data.x, data.coded)
        mean = np.column_stack([draws.ln_time.mean(axis=1), draws.recovery.mean(axis=1)])
        if not return_std:
            return mean
        variance = np.column_stack([
            draws.ln_time.var(axis=1) + (draws.ln_time_sd**2).mean(axis=1),
            draws.recovery.var(axis=1) + (draws.recovery_sd**2).mean(axis=1),
        ])
        return mean, np.sqrt(variance)

    def score(self, data: BenchData, y: None = None) -> float:  # noqa: ARG002 - as above
        """Mean log predictive density of the readings in ``data`` (higher is better)."""
        prediction = self.predict(data, return_std=True)
        mean, sd = prediction
        noise = np.column_stack(
            [np.full(data.runs, RUN_TIME_SD**2), np.nan_to_num(data.recovery_variance)]
        )
        seen = np.column_stack([data.ln_time, data.recovery])
        spread = np.sqrt(sd**2 + noise)
        density = -0.5 * ((seen - mean) / spread) ** 2 - np.log(spread * np.sqrt(2 * np.pi))
        return float(np.nanmean(density))


def ln_run_time(batch: RunBatch, ln_cap: float) -> Array:
    """ln(run time/s) [N]; runs that did not end count as 1.5 times the longest allowed."""
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.log(batch.run_time)
    return np.where(batch.finished & np.isfinite(value), value, ln_cap + np.log(1.5))
