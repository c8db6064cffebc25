"""An imagined job whose forecasts are a few formulas, for what is built on forecasts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from scipy.special import ndtr

from experiments.answers import Answer, Forecast, Interval
from experiments.events import Event
from experiments.job import (
    Analyte,
    Equipment,
    EvaporationJob,
    Factor,
    Limits,
    Sample,
    Setting,
    SolventShare,
)
from experiments.trials import Recovery, Result, Trial
from models.noise import RUN_TIME_SD

JOB = EvaporationJob(
    title="Two terpenes and a plasticiser from hexane",
    seed=5,
    equipment=Equipment(
        name="Evaporator T", vessels=6, vessel_capacity_ml=100, relative_centrifugal_force=400,
        rotor_radius_mm=150, condenser_temperature_c=-20, condenser_capacity_ml=1000,
        ramp_start_pressure_mbar=600, ultimate_pressure_mbar=2, end_point_load_fraction=0.1,
        end_point_hold_min=3, assumed=("heating",),
    ),
    factors=(
        Factor("set_temperature_c", 30.0, 60.0, 1.0),
        Factor("ramp_rate_mbar_per_min", 5.0, 200.0),
        Factor("end_pressure_mbar", 10.0, 200.0),
    ),
    sample=Sample(
        fill_volume_ml=40.0, solvents=(SolventShare("n-hexane", 1.0),), max_temperature_c=55.0
    ),
    analytes=(
        Analyte("carvone", 80.0), Analyte("dibutyl phthalate", 85.0),
        Analyte("limonene", 40.0, role="watch"),
    ),
    limits=Limits(max_run_time_min=120.0, handling_min=20.0, assurance=0.95),
)
SET_POINT: Setting = {
    "set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 60.0,
}


@dataclass
class ImaginedFit:
    """Recoveries fall with heat and vacuum by simple formulas; ``sd`` in points."""

    job: EvaporationJob
    sd: float = 1.5
    level: float = 0.0
    asked: list[int] = field(default_factory=list)

    def means(self, setting: Setting) -> tuple[float, np.ndarray]:
        heat = (float(setting["set_temperature_c"]) - 45.0) / 15.0
        vacuum = math.log(60.0 / float(setting["end_pressure_mbar"]))
        ramp = math.log(float(setting["ramp_rate_mbar_per_min"]) / 50.0)
        time = 40.0 * math.exp(-0.6 * heat - 0.3 * vacuum - 0.1 * ramp)
        loss = np.array([6.0, 3.0, 40.0]) * math.exp(0.8 * heat + 0.7 * vacuum + 0.1 * ramp)
        return time, np.maximum(97.0 + self.level - loss, 0.0)

    def forecast(
        self, settings: Sequence[Setting], level: float = 0.95, new_run: bool = False
    ) -> list[Forecast]:
        self.asked.append(len(settings))
        from scipy.stats import norm

        z = norm.ppf(0.5 + 0.5 * level)
        found = []
        for setting in settings:
            time, mean = self.means(setting)
            spread = z * math.hypot(0.04, RUN_TIME_SD if new_run else 0.0)
            reach = z * math.hypot(self.sd, 5.0 if new_run else 0.0)
            each = ndtr((mean - [a.target_recovery_percent for a in self.job.analytes]) / self.sd)
            names = [a.name for a in self.job.analytes]
            must = np.prod([p for p, a in zip(each, self.job.analytes, strict=True)
                            if a.role == "must"])
            finish = float(ndtr(math.log(self.job.limits.max_run_time_min / time) / 0.04))
            found.append(Forecast(
                setting=dict(setting),
                run_time_min=Interval(time, time * math.exp(-spread), time * math.exp(spread)),
                recovery_percent={
                    n: Interval(m, max(m - reach, 0.0), m + reach)
                    for n, m in zip(names, mean, strict=True)
                },
                probability=float(must) * finish,
                finish_probability=finish,
                analyte_probability=dict(zip(names, map(float, each), strict=True)),
            ))
        return found

    def probability(self, settings: Sequence[Setting]) -> np.ndarray:
        return np.array([f.probability for f in self.forecast(settings)])


class ImaginedDossier:
    """The parts of a dossier that comparison and report read, filled by hand."""

    def __init__(self, job: EvaporationJob, dossier_id: str = "imagined") -> None:
        self.id, self.job, self.fit = dossier_id, job, ImaginedFit(job)
        self.trials: tuple[Trial, ...] = ()
        self.events: tuple[Event, ...] = ()
        self.answer: Answer | None = None

    def run(self, trial_id: str, where: Setting, minutes: float, day: str = "",
            **recovery: float) -> None:
        """Record a run; recoveries by short name, six vessels a point apart around them."""
        names = {"carvone": "carvone", "phthalate": "dibutyl phthalate", "limonene": "limonene"}
        shift = (-2.5, -1.5, -0.5, 0.5, 1.5, 2.5)
        values = {
            names[k]: tuple(Recovery(round(float(v) + s, 2)) for s in shift)
            for k, v in recovery.items()
        }
        result = Result(minutes, "finished", values, dict.fromkeys(values, False), day=day)
        setting = {**SET_POINT, **where}
        self.trials += (Trial(trial_id, setting, result=result, state="recorded"),)

    def pend(self, trial_id: str, where: Setting) -> None:
        self.trials += (Trial(trial_id, {**SET_POINT, **where}),)

    def clear(self) -> None:
        self.trials = ()

    def trial(self, trial_id: str) -> Trial:
        return next(t for t in self.trials if t.id == trial_id)

    @property
    def recorded(self) -> tuple[Trial, ...]:
        return tuple(t for t in self.trials if t.state == "recorded")

    def fitted(self) -> ImaginedFit:
        return self.fit

    def forecast(self, settings: Sequence[Setting]) -> list[Forecast]:
        return self.fit.forecast(settings)

    def recommend(self) -> Answer:
        if self.answer is not None:
            return self.answer
        forecast = self.fit.forecast([SET_POINT])[0]
        return Answer(
            "recommended", "The fastest setting found.", dict(SET_POINT), forecast, forecast,
            forecast.run_time_min, forecast.recovery_percent, forecast.probability,
        )


@pytest.fixture
def case(job) -> ImaginedDossier:
    return ImaginedDossier(job)


@pytest.fixture
def other_case(job) -> ImaginedDossier:
    """The same recoveries in half the time."""
    found = ImaginedDossier(job, "other")
    answer = found.recommend()
    time = answer.run_time_min
    half = Interval(time.mean / 2, time.low / 2, time.high / 2)
    found.answer = replace(answer, run_time_min=half)
    return found


@pytest.fixture(scope="session")
def job() -> EvaporationJob:
    return JOB


@pytest.fixture
def fit(job) -> ImaginedFit:
    return ImaginedFit(job)


@pytest.fixture
def set_point() -> Setting:
    return dict(SET_POINT)
