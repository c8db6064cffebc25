"""What recorded bench runs say about particles of the run model's parameters and scales.

A particle is z: trajectory parameters (:data:`models.parameters.NAMES`), then the scales of
:class:`models.scales.Scales`, then a trend of the boil-over index over each factor. Only the
first change a run, only these and the scales of recovery what the recoveries say: hence the
stages, see :class:`models.posterior.Likelihood`.

======== ================================================ ==========
symbol   meaning                                          shape
======== ================================================ ==========
P        particles
n        runs in the data
A        analytes
stable   recovery on the stabilised scale                 [n, A]
======== ================================================ ==========
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np
from scipy.special import log_expit, log_ndtr

from models import analyte_evidence as grid
from models import scales
from models.bench_data import COURSE, FIRST_HALF, PACE, REST, START, BenchData
from models.discrepancy import Kinship, gaussian_evidence, squared_distance
from models.kernel_survival import survival_table
from models.noise import stabilised
from models.parameters import NAMES
from models.posterior import Likelihood, Parts, Stage
from models.run_model import RunBatch
from models.scales import Scales
from models.system import Array

TREND = len(NAMES) + scales.COUNT
"""Where the trend of the boil-over index begins among a particle's parameters."""
BOIL_OVER_SHARPNESS = 0.12
"""How sharply ln(boil-over index) tells boil-over from none."""
BOIL_OVER_TREND = 0.7
"""Prior standard deviation of what the run model's ln(boil-over index) may be wrong by from
one end of a factor's window to the other."""
COURSE_SD = 0.05
"""Standard deviation of how a run divides its time, in logarithms, from run to run and by how late
a condenser answers (common practice, no source)."""
NEVER = 1.5
"""What does not come about counts as coming at so many times the longest run allowed."""
EXCUSE = 0.3
"""Largest discrepancy of ln(run time) that explains a run that was not dry: without a bound, wet
runs alone would make it as large as one likes."""
UNEXPLAINED = 0.02
"""Chance, far from any run made, of not being dry for a reason the run model does not know."""


class Simulator(Protocol):
    """Runs of the run model for setting rows paired with particles."""

    @property
    def spike_mol(self) -> Array: ...

    @property
    def volatility_sd(self) -> Array: ...

    def __call__(self, x: Array, z: Array) -> RunBatch:
        """Simulate rows x [N, D] with trajectory parameters z [N, K]."""
        ...


class Forecast(NamedTuple):
    """The recorded runs as the run model has them, before any analyte parameter."""

    ln_time: Array  # [P, n]
    course: Array  # [P, n, 4] as in BenchData
    ln_index: Array  # [P, n] ln(boil-over index) without the trend
    surviving: Array  # [P, n, A, G, T] fraction at the nodes of the analyte parameters


class BenchLikelihood:
    """The likelihood of ``data`` under the run model ``simulator``.

    ``log_prior`` [A, nodes] is that of the analyte parameters, when it is not the usual one.
    """

    def __init__(
        self, simulator: Simulator, data: BenchData, log_prior: Array | None = None
    ) -> None:
        self.simulator = simulator
        self.data = data
        self.kin = Kinship(squared_distance(data.coded, data.coded), data.same_day)
        self.stable = stabilised(data.recovery)
        self._has_course = bool(np.isfinite(data.course).any())
        usual = np.tile(grid.log_prior(), (data.recovery.shape[1], 1))
        self.log_prior = usual if log_prior is None else log_prior
        self._multiplier = np.exp(simulator.volatility_sd[:, None] * grid.VOLATILITY_NODES)

    def staged(self) -> Likelihood:
        """In stages: the runs, the recoveries, then run times and outcomes."""
        return Likelihood((
            Stage(len(NAMES), 1, lambda z, _: self.forecast(self.runs(z))),
            Stage(len(NAMES) + scales.OF_RECOVERY, 1, self._recoveries),
            Stage(TREND + int(self.data.coded.shape[1]), 4, self._total),
        ))

    def _recoveries(self, z: Array, earlier: tuple[Parts, ...]) -> Parts:
        return (self.recovery_evidence(Forecast(*earlier[0]), scales_of(z))[0],)

    def _total(self, z: Array, earlier: tuple[Parts, ...]) -> Parts:
        """A discrepancy too large to be reckoned with in double precision explains nothing."""
        forecast, scale = Forecast(*earlier[0]), scales_of(z)
        residual, variance = self.time_terms(forecast, scale)
        of_time = gaussian_evidence(self.kin, scale.time_discrepancy, scale.length,
                                    scale.time_day_variance, variance, residual)
        total = earlier[1][0] + of_time + self._outcome_terms(forecast, z, scale)
        if self._has_course:
            total = total + self._course_term(forecast, scale)
        return (np.where(np.isnan(total), -np.inf, total),)

    def _course_term(self, forecast: Forecast, scale: Scales) -> Array:
        """Log density [P] of how runs went by the logs of instruments, their pace apart.

        Their start scatters from run to run, and the run model may be wrong about it and about
        their course, as run times do and apart from these (common practice, no source). What
        stretches a whole run leaves its course as it is; hence no scatter of days in that.
        """
        total, none = np.zeros(len(scale.length)), np.zeros(len(scale.length))
        own = scale.time_variance - scale.time_day_variance
        for i, alone, day in ((START, own, scale.time_day_variance),
                              (FIRST_HALF, none + COURSE_SD**2, none),
                              (REST, none + COURSE_SD**2, none)):
            seen, reading = self.data.course[:, i], self.data.course_variance[:, i]
            known = np.isfinite(seen)
            total += gaussian_evidence(
                self.kin, scale.time_discrepancy, scale.length, day,
                np.where(known, alone[:, None] + reading, np.inf),
                np.where(known, seen - forecast.course[:, :, i], 0.0))
        return total

    def runs(self, z: Array) -> RunBatch:
        """All recorded settings with all particles."""
        return simulate(self.simulator, self.data.x, z)

    def forecast(self, batch: RunBatch) -> Forecast:
        """Of the recorded runs."""
        table = survival_table(
            batch.boil_exponent, batch.film_dose, batch.thermal_dose, batch.film_moles,
            batch.weights, self.simulator.spike_mol, self._multiplier, grid.THERMAL_RATES,
        )
        rows, cap = self.data.runs, self.data.ln_cap
        ln_time = ln_run_time(batch, rows, cap)
        return Forecast(ln_time, course_of(batch, ln_time, cap), ln_boil_over(batch, rows),
                        table.reshape(-1, rows, *table.shape[1:]))

    def time_terms(self, forecast: Forecast, scale: Scales) -> tuple[Array, Array]:
        """Residual and variance of ln(run time) [P, n]; variance inf where there is none.

        Where a log tells the time that the vapour took, its residual takes the place of that of
        the run time: both scatter with the pace of the run, and the first has neither the wait
        for the vacuum nor the end point in it, of which the log tells apart.
        """
        data, own = self.data, scale.time_variance - scale.time_day_variance
        known, paced = np.isfinite(data.ln_time), np.isfinite(data.course[:, PACE])
        residual = np.where(paced, data.course[:, PACE] - forecast.course[:, :, PACE],
                            data.ln_time - forecast.ln_time)
        reading = np.where(paced, data.course_variance[:, PACE], data.time_variance)
        return (np.where(known, residual, 0.0),
                np.where(known, own[:, None] + reading, np.inf))

    def recovery_variance(self, scale: Scales) -> Array:
        """Variance of each analyte alone [P, n, A], stabilised; inf where there is no reading."""
        alone = scale.own_variance - scale.own_day_variance
        variance = self.data.within_variance[None] + alone[:, None, None]
        return np.where(np.isfinite(self.data.recovery)[None], variance, np.inf)

    def recovery_evidence(self, forecast: Forecast, scale: Scales) -> tuple[Array, Array, Array]:
        """As :func:`models.analyte_evidence.analyte_evidence` for the recorded readings."""
        found: tuple[Array, Array, Array] = grid.analyte_evidence(
            forecast.surviving, self.stable, self.recovery_variance(scale), self.kin,
            scale.recovery_discrepancy, scale.length, scale.own_day_variance, scale.shared_sd,
            grid.node_ceilings(scale.kept), self.log_prior, np.argsort(self.data.rank),
        )
        return found

    def _outcome_terms(self, forecast: Forecast, z: Array, scale: Scales) -> Array:
        """Log probability [P] of boil-over and of runs that were not dry in time."""
        data = self.data
        ln_index = with_trend(forecast.ln_index, z, data.coded, data.steers) / BOIL_OVER_SHARPNESS
        seen = np.where(data.boiled_over, log_expit(ln_index), log_expit(-ln_index))
        total = np.where(data.outcome_known, np.maximum(seen, -12.0), 0.0).sum(axis=1)
        if data.not_dry.any():
            excuse = np.minimum(scale.time_discrepancy, EXCUSE)
            spread = np.sqrt(scale.time_variance + excuse**2)[:, None]
            late = np.logaddexp(
                log_ndtr((forecast.ln_time - data.ln_cap) / spread), np.log(UNEXPLAINED))
            total += np.where(data.not_dry, late, 0.0).sum(axis=1)
        return np.asarray(total)


def scales_of(z: Array) -> Scales:
    """The scales among particles z [P, K]."""
    return Scales.of(z[:, len(NAMES):TREND])


def simulate(simulator: Simulator, x: Array, z: Array) -> RunBatch:
    """All rows x [M, D] with all particles z [P, K]: particle-major [P * M]."""
    rows = np.tile(x, (len(z), 1))
    return simulator(rows, np.repeat(z[:, : len(NAMES)], len(x), axis=0))


def ln_run_time(batch: RunBatch, rows: int, ln_cap: float) -> Array:
    """ln(run time/s) [P, rows]; runs that did not end count as ``NEVER`` times the longest."""
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.log(batch.run_time)
    ended = batch.finished & np.isfinite(value)
    return np.where(ended, value, ln_cap + np.log(NEVER)).reshape(-1, rows)


def course_of(batch: RunBatch, ln_time: Array, ln_cap: float) -> Array:
    """How runs go [P, rows, 4] (:data:`models.bench_data.COURSE`), ``ln_time`` being theirs.

    What never comes about counts as coming ``NEVER`` times as late as the longest run allowed.
    """
    never = NEVER * np.exp(ln_cap)
    boil, half, most = np.where(np.isfinite(batch.vapour_time), batch.vapour_time, never).T
    whole = np.maximum(most - boil, 1.0)
    rest = np.maximum(np.exp(ln_time).ravel() - boil, 1.0)
    course: Array = np.log(np.stack([
        np.maximum(boil, 1.0), whole, np.maximum(half - boil, 0.5) / whole, rest / whole], axis=1))
    return np.asarray(course.reshape(*ln_time.shape, COURSE))


def ln_boil_over(batch: RunBatch, rows: int) -> Array:
    """ln(boil-over index) [P, rows] of the run model."""
    return np.log(np.maximum(batch.boil_over_index, 1e-6)).reshape(-1, rows)


def with_trend(ln_index: Array, z: Array, coded: Array, steers: Array) -> Array:
    """ln(boil-over index) [P, M] with each particle's trend over coded settings [M, F].

    The trend is along the columns that ``steers`` [F] marks with 1.
    """
    place = (coded - 0.5) * steers
    return np.asarray(ln_index + BOIL_OVER_TREND * z[:, TREND:] @ place.T)
