"""What the tool tells the analyst: forecasts and the recommendation. Frozen records."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from experiments.job import EvaporationJob, Setting

Status = Literal["recommended", "more trials needed", "nothing qualifies"]


@dataclass(frozen=True)
class Interval:
    """A mean with a central interval, in the unit of the quantity."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Forecast:
    """What a setting is expected to give.

    ``probability`` that every "must" analyte's true mean recovery meets its target and the
    run finishes in time; ``finish_probability`` and ``boil_over_probability`` of one run, and
    ``too_warm_probability`` that the sample passes its cap.
    """

    setting: Setting
    run_time_min: Interval
    recovery_percent: dict[str, Interval]
    probability: float
    finish_probability: float = 1.0
    boil_over_probability: float = 0.0
    analyte_probability: dict[str, float] = field(default_factory=dict)
    too_warm_probability: float = 0.0

    @property
    def promise(self) -> dict[str, Any]:
        """Run time and recoveries with their intervals, as a trial keeps them."""
        return {"run_time_min": asdict(self.run_time_min),
                "recovery_percent": {k: asdict(v) for k, v in self.recovery_percent.items()}}


@dataclass(frozen=True)
class Remedy:
    """One change of the job that would help, with the figure the run model gives for it."""

    action: str
    sentence: str
    probability: float
    run_time_min: float | None = None


@dataclass(frozen=True)
class Answer:
    """The recommendation, or why there is none yet."""

    status: Status
    reason: str
    setting: Setting | None
    compromise: Forecast | None
    fastest: Forecast | None
    run_time_min: Interval
    recovery_percent: dict[str, Interval]
    probability: float
    remedies: tuple[Remedy, ...] = ()
    boil_over_probability: float = 0.0
    findings: tuple[str, ...] = ()


def weakest(job: EvaporationJob, forecast: Forecast) -> str:
    """What fails first at a setting: an analyte, "run time", "boil-over", "sample temperature"."""
    each = chances(job, forecast)
    return min(each, key=lambda name: each[name])


def chances(job: EvaporationJob, forecast: Forecast) -> dict[str, float]:
    """The chance of each thing asked of a setting, by its name."""
    return {
        **{a.name: forecast.analyte_probability[a.name] for a in job.must},
        "run time": forecast.finish_probability,
        "boil-over": 1.0 - forecast.boil_over_probability,
        "sample temperature": 1.0 - forecast.too_warm_probability,
    }
