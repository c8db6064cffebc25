"""What verification, region and report need of a fitted job, and draws of the truth from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import numpy as np

from experiments.answers import Forecast
from experiments.job import EvaporationJob, Setting
from models.noise import COMMON_SHARE, RUN_TIME_SD, VESSEL_RSD, run_sd
from models.system import Array

NINETY_FIVE = 1.959963984540054


class Forecaster(Protocol):
    """Forecasts of one job; :class:`experiments.fitted.Fitted` is one."""

    @property
    def job(self) -> EvaporationJob:
        """What is forecast."""

    def probability(self, settings: Sequence[Setting]) -> Array:
        """[M] probability of meeting every target in time."""

    def forecast(
        self, settings: Sequence[Setting], level: float = 0.95, new_run: bool = False
    ) -> list[Forecast]:
        """One for each setting, of the true means or of a new run."""


@runtime_checkable
class JointForecaster(Protocol):
    """A forecaster that also gives joint draws, so that analytes keep their dependence."""

    def points(self, settings: Sequence[Setting]) -> Sequence[Any]:
        """Joint draws at each setting, as :class:`experiments.fitted.Point`."""

    def success(self, point: Any) -> Array:
        """[P] probability given each draw that everything asked of a setting holds."""

    def reading_noise(self, point: Any) -> Array:
        """[P, 1 + A] scatter of a run: of ln(run time), of each recovery in percent."""


@dataclass(frozen=True, eq=False)
class TrueValues:
    """Draws of what the true means at a setting may be, and the scatter of a run.

    time [P] min, recovery [P, A] percent, calm [P] probability that nothing boils over,
    time_sd [P] of ln(run time), run_sd [P, A] and vessel_sd [P, A] in percent, common [P] share
    of the run's variance that its analytes have in common.
    """

    time: Array
    recovery: Array
    calm: Array
    time_sd: Array
    run_sd: Array
    vessel_sd: Array
    common: Array


def true_values(
    forecaster: Forecaster, setting: Setting, draws: int, rng: np.random.Generator
) -> TrueValues:
    """Draws of the truth at a setting, joint where the forecaster can give them.

    The scatter between vessels is what the forecaster's ``vessel_rsd`` says, what the analytes
    of a run have in common what its ``common_share`` says, else the usual.
    """
    vessels = forecaster.job.equipment.vessels
    vessel_rsd = np.asarray(getattr(forecaster, "vessel_rsd", VESSEL_RSD), dtype=float)
    common = np.asarray(getattr(forecaster, "common_share", COMMON_SHARE), dtype=float)
    if isinstance(forecaster, JointForecaster):
        point = forecaster.points([setting])[0]
        pick = rng.integers(len(point.sample_time), size=draws)
        recovery = np.maximum(np.asarray(point.sample_recovery)[pick], 0.0)
        noise = np.asarray(forecaster.reading_noise(point))[pick]
        usual = VESSEL_RSD * recovery
        between = np.sqrt(np.maximum(noise[:, 1:] ** 2 - usual**2 / vessels, 0.0))
        return TrueValues(
            np.asarray(point.sample_time)[pick], recovery,
            np.asarray(point.no_boil_over)[pick], noise[:, 0], between,
            vessel_rsd * recovery, np.broadcast_to(common, point.sample_time.shape)[pick],
        )
    forecast = forecaster.forecast([setting])[0]
    names = [a.name for a in forecaster.job.analytes]
    recovery = np.column_stack([
        _normal(forecast.recovery_percent[n].mean, forecast.recovery_percent[n].low,
                forecast.recovery_percent[n].high, draws, rng) for n in names
    ])
    time = forecast.run_time_min
    ln_time = np.log(time.mean) + np.log(time.high / time.low) / (2 * NINETY_FIVE) * (
        rng.standard_normal(draws)
    )
    return TrueValues(
        np.exp(ln_time), recovery, np.full(draws, 1.0 - forecast.boil_over_probability),
        np.full(draws, RUN_TIME_SD), 100.0 * run_sd(recovery / 100.0), vessel_rsd * recovery,
        np.broadcast_to(common, draws),
    )


def _normal(
    mean: float, low: float, high: float, draws: int, rng: np.random.Generator
) -> Array:
    sd = (high - low) / (2.0 * NINETY_FIVE)
    return np.maximum(mean + sd * rng.standard_normal(draws), 0.0)


def pick_setting(job: EvaporationJob, values: Mapping[str, Any]) -> Setting:
    """The values of the job's factors, in the job's order."""
    return {f.name: values[f.name] for f in job.factors}
