"""What physics allows before any trial: the limits of the window with their numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from experiments.answers import Forecast
from experiments.authorisation import job_cautions
from experiments.fill_physics import (
    boiling_point_c,
    boiling_pressure_mbar,
    breakthrough_pressure_mbar,
    freezing_point_c,
    keeper_pressure_mbar,
)
from experiments.fitted import Fitted, fit
from experiments.job import EvaporationJob
from experiments.physics import PhysicsModel
from experiments.progress import Progress
from models.heat_transfer import TYPICAL_U, full_area
from models.quantities import ML, celsius, kelvin, pascal
from models.system import LiquidSystem

OVERFILL = 0.62
"""Share of the capacity above which spinning vessels throw liquid (common practice)."""


@dataclass(frozen=True)
class Limit:
    """One limit of the window: its name, where it lies, the number and the reason.

    ``kind`` is "closed" where runs cannot succeed, "risk" where they may not, "fact" else.
    """

    name: str
    where: str
    value: float
    unit: str
    reason: str
    kind: str = "fact"


def window_limits(job: EvaporationJob) -> tuple[Limit, ...]:
    """Every limit with the number behind it."""
    physics = PhysicsModel(job)
    choices = next((f.choices for f in job.factors if f.name == "keeper"), ())
    keepers = physics.keepers([{"keeper": c} for c in choices] or [{}])
    system = physics.system(keepers[0])
    with_keeper = [physics.system(k) for k in keepers if k is not None]
    limits = [
        *_boiling(job, system), _breakthrough(job, system), _power(job, system),
        _capacity(job), _pump(job), *_freezing(job, system), _temperature(job), _fill(job),
        *(limit for each in with_keeper for limit in _keeper(job, each)),
        Limit("run time", f"up to {job.limits.max_run_time_min:g} min",
              job.limits.max_run_time_min, "min",
              "A run that takes longer is given up.", "closed"),
    ]
    return tuple(limits)


def window_report(job: EvaporationJob, progress: Progress | None = None) -> dict[str, Any]:
    """Limits and the forecast from physics alone (the command line's `window`)."""
    limits = window_limits(job)
    if progress is not None:
        progress(0.2, "forecasting from physics alone")
    forecast = physics_forecast(fit(job, []))
    found = (*job_cautions(job), *PhysicsModel(job).findings)
    return {
        "limits": [
            {"name": x.name, "where": x.where, "value": x.value, "unit": x.unit,
             "reason": x.reason} for x in limits
        ],
        "forecast": {
            "setting": forecast.setting,
            "run_time_min": vars(forecast.run_time_min),
            "recovery_percent": {k: vars(v) for k, v in forecast.recovery_percent.items()},
            "probability": forecast.probability,
        },
        "cautions": [f.sentence for f in found],
    }


def physics_forecast(fitted: Fitted) -> Forecast:
    """The forecast at the setting most likely to succeed."""
    settings = fitted.candidates
    best = int(np.argmax(fitted.probability(settings) - 1e-4 * fitted.mean_time(settings)))
    return fitted.forecast([settings[best]])[0]


def _boiling(job: EvaporationJob, system: LiquidSystem) -> list[Limit]:
    found = []
    for pressure in (job.factor("end_pressure_mbar").low, job.factor("end_pressure_mbar").high):
        boils = boiling_point_c(system, job, pascal(pressure))
        found.append(Limit(
            "boiling", f"wall above {boils:.0f} degC at {pressure:g} mbar", boils, "degC",
            f"The fill boils at {boils:.1f} degC under {pressure:g} mbar; a colder wall cannot "
            "dry it.", "fact" if boils < job.factor("set_temperature_c").low else "closed",
        ))
    return found


def _breakthrough(job: EvaporationJob, system: LiquidSystem) -> Limit:
    value = breakthrough_pressure_mbar(system, job)
    cold = job.equipment.condenser_temperature_c
    return Limit(
        "condenser breakthrough", f"end pressure above {value:.3g} mbar", value, "mbar",
        f"At the condenser's {cold:g} degC the saturation pressure of the fill's solvents is "
        f"{value:.3g} mbar; below it vapour passes on to the pump and the condenser's load cannot "
        "show the end.",
        "risk",
    )


def _power(job: EvaporationJob, system: LiquidSystem) -> Limit:
    e = job.equipment
    hottest, lowest = job.factor("set_temperature_c").high, job.factor("end_pressure_mbar").low
    area = full_area(e.vessel_capacity_ml * ML) * np.sqrt(
        job.sample.fill_volume_ml / e.vessel_capacity_ml
    )
    demand = e.vessels * TYPICAL_U[e.heating] * area * (
        hottest - boiling_point_c(system, job, pascal(lowest))
    )
    words = ("can be what limits the run, and the pressure then floats up"
             if demand > e.condenser_power_w else "does not limit the run")
    return Limit(
        "condenser power", f"{e.condenser_power_w:g} W", e.condenser_power_w, "W",
        f"The hottest wall at the lowest pressure would make vapour worth about {demand:.0f} W; "
        f"the condenser {words}.",
        "risk" if demand > e.condenser_power_w else "fact",
    )


def _capacity(job: EvaporationJob) -> Limit:
    e = job.equipment
    return Limit(
        "condenser capacity", f"{e.condenser_capacity_ml:g} mL", e.condenser_capacity_ml, "mL",
        job.trap_sentence, "fact" if job.batches_in_trap else "risk",
    )


def _pump(job: EvaporationJob) -> Limit:
    e = job.equipment
    lowest = job.factor("end_pressure_mbar").low
    rate = e.pump_speed_m3_per_h / 60.0 / (e.chamber_volume_l / 1000.0) * lowest
    is_slow = rate < job.factor("ramp_rate_mbar_per_min").high
    return Limit(
        "pump", f"ramp below {rate:.3g} mbar/min at {lowest:g} mbar", rate, "mbar/min",
        f"The pump cannot empty the chamber faster than {rate:.3g} mbar/min at {lowest:g} mbar"
        + ("; a faster ramp falls behind there." if is_slow else "."),
        "risk" if is_slow else "fact",
    )


def _freezing(job: EvaporationJob, system: LiquidSystem) -> list[Limit]:
    frozen = freezing_point_c(system)
    pressure = boiling_pressure_mbar(system, job, kelvin(frozen))
    if pressure < job.factor("end_pressure_mbar").low:
        return []
    return [Limit(
        "freezing", f"end pressure above {pressure:.3g} mbar", pressure, "mbar",
        f"The liquid reaches its freezing point of {frozen:.1f} degC at {pressure:.3g} mbar; stop "
        "the ramp above it, and never call ice dry.", "closed",
    )]


def _temperature(job: EvaporationJob) -> Limit:
    cap = job.sample.max_temperature_c
    return Limit(
        "sample temperature", f"wall up to about {cap:g} degC", cap, "degC",
        f"While it boils the sample is colder than the wall, but a dry vessel warms to the wall; "
        f"a wall above {cap:g} degC suits only runs that end before that.", "closed",
    )


def _fill(job: EvaporationJob) -> Limit:
    share = job.sample.fill_volume_ml / job.equipment.vessel_capacity_ml
    return Limit(
        "fill", f"up to {100 * OVERFILL:.0f} % of the vessel", share, "1",
        f"Vessels are filled to {100 * share:.0f} % of their capacity; above about "
        f"{100 * OVERFILL:.0f} % spinning liquid may be thrown out (common practice).",
        "risk" if share > OVERFILL else "fact",
    )


def _keeper(job: EvaporationJob, system: LiquidSystem) -> list[Limit]:
    name, hottest = system.solvents[-1], job.factor("set_temperature_c").high
    value = keeper_pressure_mbar(system, kelvin(hottest))
    found = [Limit(
        "keeper", f"end pressure above {value:.3g} mbar at {hottest:g} degC", value, "mbar",
        f"Below {value:.3g} mbar {name} itself boils at {hottest:g} degC and is stripped with "
        "what it keeps.", "risk",
    )]
    frozen = float(system.freezing_temperature[-1])
    pressure = boiling_pressure_mbar(system, job, frozen)
    if pressure > job.factor("end_pressure_mbar").low:
        found.append(Limit(
            "keeper freezing", f"end pressure above {pressure:.3g} mbar", pressure, "mbar",
            f"Under {pressure:.3g} mbar the fill boils below {celsius(frozen):.0f} degC, where "
            f"{name} freezes: near the end of a run solvent may stay in it.", "risk",
        ))
    return found
