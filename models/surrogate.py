"""The surrogate: run model with uncertain parameters plus a discrepancy, fitted to bench runs.

The posterior is explored by tempered sequential Monte Carlo over the trajectory parameters,
the :class:`~models.scales.Scales` and, since what makes a liquid boil over is known least, a
trend of the boil-over index over the window; analyte parameters and the effects common to the
analytes of a run are integrated out at each particle (:mod:`models.likelihood`). Recoveries are
compared on the stabilised scale of :mod:`models.noise`. Scikit-learn conventions: ``fit``,
``predict(..., return_std=True)``, ``clone``-able, usable in ``cross_val_score``.

======== ================================================ ==========
symbol   meaning                                          shape
======== ================================================ ==========
P        particles
n        runs in the data
M        settings asked for
O        outputs: ln(run time), then A recoveries         1 + A
stable   recovery on the stabilised scale                 [P, ., A]
======== ================================================ ==========
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit
from sklearn.base import BaseEstimator, RegressorMixin

from models import analyte_evidence as grid
from models.bench_data import BenchData
from models.carried import CarriedPrior
from models.discrepancy import PriorPaths, condition, squared_distance
from models.likelihood import (
    BOIL_OVER_SHARPNESS,
    UNEXPLAINED,
    BenchLikelihood,
    Simulator,
    ln_boil_over,
    ln_run_time,
    scales_of,
    simulate,
    with_trend,
)
from models.noise import RUN_TIME_SD, expected_reading, from_stabilised, run_sd, stabilised
from models.posterior import Posterior, StandardNormal, sample_posterior
from models.run_model import RunBatch, surviving_fraction
from models.system import Array


@dataclass(frozen=True, eq=False)
class Draws:
    """Posterior draws at M settings; P draws each.

    ``ln_time`` and ``stable`` are means of the true value given the particle, ``*_sd`` what
    the discrepancy leaves open; ``sample_*`` one joint draw of the truth over the settings.
    """

    ln_time: Array  # [M, P]
    ln_time_sd: Array
    stable: Array  # [M, P, A] recovery on the stabilised scale
    stable_sd: Array
    sample_ln_time: Array
    sample_stable: Array
    ln_boil_over: Array  # [M, P]
    peak_temperature: Array  # [M, P] K
    unexplained: Array  # [M, P] chance of not being dry that the run model does not know

    @cached_property
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
    carried : what an earlier job taught, in place of part of the usual prior
    """

    def __init__(
        self, simulator: Simulator, particles: int = 112, moves: int = 2, seed: int = 0,
        carried: CarriedPrior | None = None,
    ) -> None:
        self.simulator = simulator
        self.particles = particles
        self.moves = moves
        self.seed = seed
        self.carried = carried

    def fit(
        self, data: BenchData, y: None = None,  # noqa: ARG002 - scikit-learn passes it
        on_step: Callable[[float], None] | None = None,
    ) -> EvaporationSurrogate:
        """Learn from ``data``; without runs the posterior is the prior."""
        rng = np.random.default_rng([self.seed, 11])
        self.data_ = data
        carried = self.carried
        self.likelihood_ = BenchLikelihood(
            self.simulator, data, None if carried is None else carried.log_node_prior())
        likelihood = self.likelihood_.staged()
        if data.runs:
            self.posterior_ = sample_posterior(
                likelihood, particles=self.particles, rng=rng, moves=self.moves,
                on_step=on_step, prior=carried,
            )
        else:
            z = (carried or StandardNormal()).draw(self.particles, likelihood.dimension, rng)
            self.posterior_ = Posterior(z, np.zeros(self.particles), 0.0, 0, 1.0)
        self._settle(rng)
        return self

    def use_draws(self, z: Array, rng: np.random.Generator) -> None:
        """Predict from the draws z [P, K] of another sampler of the same posterior."""
        self.posterior_ = Posterior(z, self.likelihood_.staged()(z), math.nan, 0, math.nan)
        self._settle(rng)

    def _settle(self, rng: np.random.Generator) -> None:
        """Draw analyte parameters for the kept particles and store what prediction needs."""
        data, likelihood, z = self.data_, self.likelihood_, self.posterior_.z
        scale = scales_of(z)
        runs, analytes = data.recovery.shape
        outputs, count = analytes + 1, len(z)
        self.scales_ = scale
        dealt = np.concatenate([[0], 1 + data.rank])
        self._paths = PriorPaths(count, dealt, data.coded.shape[1], rng)
        noise = rng.standard_normal((2, count, runs, outputs))[..., dealt]
        self._residual = np.zeros((count, runs, outputs))
        self._variance = np.full((count, runs, outputs), np.inf)
        self._unexplained = np.zeros((count, runs))
        self._noise = noise[0]
        if not runs:
            uniform = rng.random((count, analytes))[:, data.rank]
            self._keep_nodes(grid.draw_prior_nodes(likelihood.log_prior, uniform), rng)
            return
        batch = likelihood.runs(z)
        forecast, variance = likelihood.forecast(batch), likelihood.recovery_variance(scale)
        _, effect, spread = likelihood.recovery_evidence(forecast, scale)
        root = np.linalg.cholesky(spread + 1e-9 * np.eye(runs))
        effect += np.einsum("pij,pj->pi", root, rng.standard_normal((count, runs)))
        seen = likelihood.stable[None] - (scale.shared_sd[:, None] * effect)[:, :, None]
        self._keep_nodes(grid.draw_nodes(
            forecast.surviving, seen, variance, likelihood.kin, scale.recovery_discrepancy,
            scale.length, scale.own_day_variance, grid.node_ceilings(scale.kept),
            likelihood.log_prior,
            rng.random((count, analytes))[:, data.rank],
        ), rng)
        self._residual[:, :, 0], self._variance[:, :, 0] = likelihood.time_terms(forecast, scale)
        self._residual[:, :, 1:] = np.nan_to_num(
            seen - expected_reading(self._recovery(batch, runs)))
        self._variance[:, :, 1:] = variance
        root = np.linalg.cholesky(data.same_day + 1e-9 * np.eye(runs))
        self._noise *= np.sqrt(np.where(np.isfinite(self._variance), self._variance, 0.0))
        of_days = np.einsum("ij,pjo->pio", root, noise[1])
        self._noise += np.sqrt(scale.day_variances(analytes))[:, None] * of_days
        in_time = forecast.ln_time <= data.ln_cap
        self._unexplained = (data.not_dry & in_time).astype(float)

    def _keep_nodes(self, picked: NDArray[np.int64], rng: np.random.Generator) -> None:
        volatility, self.thermal_rate_, ceiling = grid.node_values(picked)
        self.ceiling_ = self.scales_.kept[:, None] * ceiling
        step = float(np.diff(grid.VOLATILITY_NODES)[0])
        within = rng.uniform(-0.5, 0.5, picked.shape)[:, self.data_.rank]
        self.volatility_z_ = volatility + step * within

    def _recovery(self, batch: RunBatch, rows: int, keep: slice = slice(None)) -> Array:
        """Recovery of the run model [P, rows, A] with each particle's analyte parameters."""

        def each(values: Array) -> Array:
            return np.repeat(values[keep], rows, axis=0)

        with np.errstate(divide="ignore"):
            ln_rate = np.log(self.thermal_rate_)
        return surviving_fraction(
            batch, self.simulator.spike_mol,
            each(self.simulator.volatility_sd * self.volatility_z_),
            each(self.ceiling_), each(ln_rate),
        ).reshape(-1, rows, self.ceiling_.shape[1])

    # -- prediction ------------------------------------------------------------------

    def draws(self, x: Array, coded: Array, every: int = 1) -> Draws:
        """Posterior draws of the truth at settings x [M, D], coded [M, F].

        ``every`` keeps one draw in so many, for a quick look.
        """
        data, keep = self.data_, slice(None, None, every)
        z, scale = self.posterior_.z[keep], self.scales_.thinned(keep)
        rows = len(x)
        batch = simulate(self.simulator, x, z)
        time = ln_run_time(batch, rows, data.ln_cap)
        stable = stabilised(self._recovery(batch, rows, keep))
        analytes = stable.shape[2]
        distance = squared_distance(coded, data.coded)
        mean, sd, sample = condition(
            self.likelihood_.kin, distance, scale.amplitudes(analytes), scale.length,
            scale.day_variances(analytes), self._variance[keep], self._residual[keep],
            self._paths.at(data.coded, scale.length, keep),
            self._paths.at(coded, scale.length, keep), self._noise[keep],
        )
        return Draws(
            ln_time=(time + mean[:, :, 0]).T,
            ln_time_sd=sd[:, :, 0].T,
            stable=(stable + mean[:, :, 1:]).transpose(1, 0, 2),
            stable_sd=sd[:, :, 1:].transpose(1, 0, 2),
            sample_ln_time=(time + sample[:, :, 0]).T,
            sample_stable=(stable + sample[:, :, 1:]).transpose(1, 0, 2),
            ln_boil_over=with_trend(ln_boil_over(batch, rows), z, coded, self.data_.steers).T,
            peak_temperature=batch.peak_temperature.reshape(-1, rows).T,
            unexplained=self._unexplained_share(distance, keep),
        )

    def _unexplained_share(self, distance: Array, keep: slice) -> Array:
        """Chance [M, P] of not being dry for an unknown reason, by the runs near a setting."""
        length = self.scales_.length[keep, None]
        near = np.exp(-0.5 * distance[:, None, :] / length**2)  # [M, P, n]
        near = near * self.data_.outcome_known
        failed = np.einsum("mpn,pn->mp", near, self._unexplained[keep])
        return np.asarray((UNEXPLAINED + failed) / (1.0 + near.sum(axis=2)))

    def physics_draws(
        self, simulator: Simulator, x: Array, coded: Array, ln_cap: float | None = None
    ) -> tuple[Array, Array, Array, Array]:
        """Run model alone under another simulator (a changed job) with the same particles.

        ``x`` [M, D] are the rows of the settings for that simulator, ``coded`` [M, F] their
        places in the window, ``ln_cap`` its longest run (ln s) where that is another.

        Returns
        -------
        ln_time [M, P], recovery [M, P, A], no_boil_over [M, P], peak_temperature [M, P] K
        """
        rows, z = len(x), self.posterior_.z
        batch = simulate(simulator, x, z)
        index = with_trend(ln_boil_over(batch, rows), z, coded, self.data_.steers)
        return (
            ln_run_time(batch, rows, self.data_.ln_cap if ln_cap is None else ln_cap).T,
            self._recovery(batch, rows).transpose(1, 0, 2),
            np.asarray(expit(-index / BOIL_OVER_SHARPNESS)).T,
            batch.peak_temperature.reshape(-1, rows).T,
        )

    def predict(
        self, data: BenchData, return_std: bool = False
    ) -> Array | tuple[Array, Array]:
        """Mean of the truth [M, O] (ln run time, recoveries), with its standard deviation."""
        draws = self.draws(data.x, data.coded)
        recovery = from_stabilised(draws.stable)
        mean = np.column_stack([draws.ln_time.mean(axis=1), recovery.mean(axis=1)])
        if not return_std:
            return mean
        left = draws.stable_sd * run_sd(recovery)
        variance = np.column_stack([
            draws.ln_time.var(axis=1) + (draws.ln_time_sd**2).mean(axis=1),
            recovery.var(axis=1) + (left**2).mean(axis=1),
        ])
        return mean, np.sqrt(variance)

    def score(self, data: BenchData, y: None = None) -> float:  # noqa: ARG002 - as above
        """Mean log predictive density of the readings in ``data`` (higher is better)."""
        prediction = self.predict(data, return_std=True)
        mean, sd = prediction
        run = run_sd(np.nan_to_num(data.recovery))
        within = np.where(np.isfinite(data.recovery), data.within_variance, 0.0)
        noise = np.column_stack(
            [np.full(data.runs, RUN_TIME_SD**2), run**2 * (1.0 + within)]
        )
        seen = np.column_stack([data.ln_time, data.recovery])
        spread = np.sqrt(sd**2 + noise)
        density = -0.5 * ((seen - mean) / spread) ** 2 - np.log(spread * np.sqrt(2 * np.pi))
        return float(np.nanmean(density))
