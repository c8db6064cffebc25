"""What physics allows before any trial: the limits of the window with their numbers."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from experiments.answers import Forecast
from experiments.authorisation import job_cautions
from experiments.fitted import LEAST_ENDING, Fitted, fit
from experiments.job import EvaporationJob, Setting
from experiments.map_grid import (
    Grid,
    any_of,
    coarse_grid,
    crossing,
    nearest,
    refined,
    with_node,
)
from experiments.map_grid import around as around_place
from experiments.physics import PhysicsModel
from experiments.progress import Progress
from models.errors import ModelError
from models.heat_transfer import TYPICAL_U, full_area
from models.mixture import breakthrough_pressure, bubble_point, bubble_pressure
from models.quantities import ML, celsius, kelvin, mbar, pascal
from models.system import Array, LiquidSystem, Mask
from models.volatility import pressure as saturation_pressure

OVERFILL = 0.62
"""Share of the capacity above which spinning vessels throw liquid (common practice)."""
MAPPED = ("set_temperature_c", "end_pressure_mbar", "ramp_rate_mbar_per_min")
AT_ONCE = 16
"""Settings of the map simulated between two calls of its progress."""
EDGE_CELLS, FINEST_CELLS = 24, 20
"""Cells of the map made finer at the edge of what ends in time, and once more at the setting."""


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


@dataclass(frozen=True, eq=False)
class WindowMap:
    """Grids over set temperature [X] and end pressure [Y] at one ramp rate; [Y, X].

    ``run_time_min`` is the mean of runs that end in time, NaN where hardly any does;
    ``in_time`` is the probability to end in time. ``margins`` hold, for each limit, a number
    that is positive where it applies.
    ``probability`` is that of meeting every target, from physics and the trials so far.
    """

    set_temperature_c: Array
    end_pressure_mbar: Array
    ramp_rate_mbar_per_min: float
    run_time_min: Array
    in_time: Array
    margins: dict[str, Array]
    probability: Array
    boiling_line: Array  # [X] mbar at which the fill just boils at that wall temperature
    held: Setting = field(default_factory=dict)  # free factors off the map, besides the ramp rate


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


def window_map(
    fitted: Fitted, ramp_rate_mbar_per_min: float, columns: int = 13, rows: int = 11,
    around: Setting | None = None, passes: int = 2, progress: Progress | None = None,
) -> WindowMap:
    """The operating map at one ramp rate, finer where an outline runs.

    Parameters
    ----------
    columns, rows : steps of the coarse map
    around : a setting that has its own row and column and gives the factors off the map;
        without one they are at the middle of their range
    passes : how often the steps are halved; the second time only near ``around``
    progress : called with the share done; raising in it cancels
    """
    job = fitted.job
    t, p = job.factor("set_temperature_c"), job.factor("end_pressure_mbar")
    x = np.linspace(t.low, t.high, columns) if not t.is_fixed else np.array([t.low])
    y = np.geomspace(p.low, p.high, rows) if not p.is_fixed else np.array([p.low])
    place = None
    if around is not None:
        place = float(around["set_temperature_c"]), float(around["end_pressure_mbar"])
        x, y = with_node(x, place[0]), with_node(y, place[1], by_ratio=True)
    base = _base(job, ramp_rate_mbar_per_min, around)
    measure = _Measure(fitted, base, progress)
    grid = coarse_grid(x, y, measure)
    if min(grid.known.shape) > 1:
        for level in range(passes):
            measure.start(0.5 + 0.25 * level, 0.25)
            grid = refined(grid, _cells_that_matter(grid, job, place, level), measure)
    probability, in_time, boil_over, warm, ln_time = grid.values
    system = PhysicsModel(job).system(PhysicsModel(job).keepers([base])[0])
    margins = _physical_margins(system, job, grid.x, grid.y)
    margins["boil-over likely"] = boil_over - 0.5
    margins["sample too warm"] = warm - 0.5
    return WindowMap(
        grid.x, grid.y, ramp_rate_mbar_per_min, np.exp(ln_time), in_time,
        {k: np.array(v) for k, v in margins.items() if (v > 0).any()}, probability,
        np.array([_boiling_pressure(system, job, kelvin(a)) for a in grid.x]),
        {f.name: base[f.name] for f in job.free_factors if f.name not in MAPPED},
    )


def _base(job: EvaporationJob, ramp: float, around: Setting | None) -> Setting:
    """The factors off the map."""
    middle: Setting = {
        f.name: f.choices[0] if f.choices else 0.5 * (f.low + f.high) for f in job.factors
    }
    return {**middle, **(around or {}), "ramp_rate_mbar_per_min": ramp}


class _Measure:
    """Probability, chance to end in time, to boil over and to pass the sample's cap, and
    ln(run time, min): [5, N].
    """

    def __init__(self, fitted: Fitted, base: Setting, progress: Progress | None) -> None:
        self._fitted, self._base, self._progress = fitted, base, progress
        self.start(0.0, 0.5)

    def start(self, share: float, part: float) -> None:
        """The next call is this part of the work, after a share of it."""
        self._share, self._part = share, part

    def __call__(self, x: Array, y: Array) -> Array:
        settings: list[Setting] = [
            {**self._base, "set_temperature_c": float(a), "end_pressure_mbar": float(b)}
            for a, b in zip(x, y, strict=True)
        ]
        for start in range(0, len(settings), AT_ONCE):
            if self._progress is not None:
                done = self._share + self._part * start / len(settings)
                self._progress(done, "runs over the window")
            self._fitted.points(settings[start : start + AT_ONCE])
        fitted = self._fitted
        points = fitted.points(settings)
        longest = fitted.job.limits.max_run_time_min
        hardly = np.array([(pt.time <= longest).mean() < LEAST_ENDING for pt in points])
        return np.array([
            fitted.probability(settings),
            [float(fitted.finish_probabilities(pt).mean()) for pt in points],
            [1.0 - float(pt.no_boil_over.mean()) for pt in points],
            [1.0 - float(pt.cool_enough.mean()) for pt in points],
            np.where(hardly, np.nan, np.log(fitted.mean_time(settings))),
        ])


def _cells_that_matter(
    grid: Grid, job: EvaporationJob, place: tuple[float, float] | None, level: int
) -> Mask:
    """Cells an outline runs through, and those at the setting; later only near the setting."""
    probability, in_time, boil_over, warm, _ = grid.values
    outline = crossing(probability, job.limits.assurance)
    at = around_place(grid, place)
    if level > 0:
        return any_of([nearest(outline, grid, place, FINEST_CELLS), at])
    edges = any_of([crossing(v, 0.5) for v in (in_time, boil_over, warm)])
    return any_of([outline, at, nearest(edges, grid, place, EDGE_CELLS)])


def _physical_margins(
    system: LiquidSystem, job: EvaporationJob, x: Array, y: Array
) -> dict[str, Array]:
    """The limits known without a simulation, [Y, X]; positive where one applies."""
    shape = (len(y), len(x))
    boils = np.array([_bubble_c(system, job, pascal(b)) for b in y])
    frozen = _freezing_c(system)
    margins = {
        "does not boil": boils[:, None] - x[None, :],
        "vapour passes the condenser": np.broadcast_to(
            (_condenser_saturation(job, system) - y)[:, None], shape
        ),
        "freezes": np.broadcast_to((frozen - boils)[:, None], shape),
    }
    if system.has_keeper:
        strip = np.array([_saturation_mbar(system, -1, kelvin(a)) for a in x])
        margins["keeper boils off"] = strip[None, :] - y[:, None]
    return margins


# -- the single limits -----------------------------------------------------------------


def _composition(system: LiquidSystem, job: EvaporationJob) -> Array:
    """Mole fractions of the fill as it starts, without keeper."""
    moles = system.moles(job.sample.fill_volume_ml * ML, 0.0)
    return np.asarray(moles / moles.sum())


def _bubble_c(system: LiquidSystem, job: EvaporationJob, pressure: float) -> float:
    try:
        return celsius(bubble_point(system, _composition(system, job), pressure).temperature)
    except ModelError:
        return float("nan")


def _boiling_pressure(system: LiquidSystem, job: EvaporationJob, temperature: float) -> float:
    """Pressure (mbar) at which the fill boils at a temperature."""
    return mbar(bubble_pressure(system, _composition(system, job), temperature))


def _saturation_mbar(system: LiquidSystem, index: int, temperature: float) -> float:
    return mbar(float(saturation_pressure(system.ln_p[index], temperature)))


def _condenser_saturation(job: EvaporationJob, system: LiquidSystem) -> float:
    """Pressure (mbar) below which the fill's vapour passes the condenser."""
    cold = kelvin(job.equipment.condenser_temperature_c)
    return mbar(breakthrough_pressure(system, _composition(system, job), cold))


def _freezing_c(system: LiquidSystem) -> float:
    """Freezing point of the main solvent, degC."""
    return celsius(float(system.freezing_temperature[int(np.argmax(system.fraction))]))


def _boiling(job: EvaporationJob, system: LiquidSystem) -> list[Limit]:
    found = []
    for pressure in (job.factor("end_pressure_mbar").low, job.factor("end_pressure_mbar").high):
        boils = _bubble_c(system, job, pascal(pressure))
        found.append(Limit(
            "boiling", f"wall above {boils:.0f} degC at {pressure:g} mbar", boils, "degC",
            f"The fill boils at {boils:.1f} degC under {pressure:g} mbar; a colder wall cannot "
            "dry it.", "fact" if boils < job.factor("set_temperature_c").low else "closed",
        ))
    return found


def _breakthrough(job: EvaporationJob, system: LiquidSystem) -> Limit:
    value = _condenser_saturation(job, system)
    cold = job.equipment.condenser_temperature_c
    return Limit(
        "condenser breakthrough", f"end pressure above {value:.3g} mbar", value, "mbar",
        f"At the condenser's {cold:g} degC the vapour's saturation pressure is {value:.3g} mbar; "
        "below it the vapour passes on to the pump and the condenser's load cannot show the end.",
        "risk",
    )


def _power(job: EvaporationJob, system: LiquidSystem) -> Limit:
    e = job.equipment
    hottest, lowest = job.factor("set_temperature_c").high, job.factor("end_pressure_mbar").low
    area = full_area(e.vessel_capacity_ml * ML) * np.sqrt(
        job.sample.fill_volume_ml / e.vessel_capacity_ml
    )
    demand = e.vessels * TYPICAL_U[e.heating] * area * (
        hottest - _bubble_c(system, job, pascal(lowest))
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
    frozen = _freezing_c(system)
    pressure = _boiling_pressure(system, job, kelvin(frozen))
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
    value = _saturation_mbar(system, -1, kelvin(hottest))
    found = [Limit(
        "keeper", f"end pressure above {value:.3g} mbar at {hottest:g} degC", value, "mbar",
        f"Below {value:.3g} mbar {name} itself boils at {hottest:g} degC and is stripped with "
        "what it keeps.", "risk",
    )]
    frozen = float(system.freezing_temperature[-1])
    pressure = _boiling_pressure(system, job, frozen)
    if pressure > job.factor("end_pressure_mbar").low:
        found.append(Limit(
            "keeper freezing", f"end pressure above {pressure:.3g} mbar", pressure, "mbar",
            f"Under {pressure:.3g} mbar the fill boils below {celsius(frozen):.0f} degC, where "
            f"{name} freezes: near the end of a run solvent may stay in it.", "risk",
        ))
    return found
