"""The operating map: run time, probability and limits over set temperature and end pressure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from experiments.fill_physics import (
    boiling_point_c,
    boiling_pressure_mbar,
    breakthrough_pressure_mbar,
    freezing_point_c,
    keeper_pressure_mbar,
)
from experiments.fitted import LEAST_ENDING, Fitted
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
from models.quantities import kelvin, pascal
from models.system import Array, LiquidSystem, Mask

MAPPED = ("set_temperature_c", "end_pressure_mbar", "ramp_rate_mbar_per_min")
AT_ONCE = 16
"""Settings of the map simulated between two calls of its progress."""
EDGE_CELLS, FINEST_CELLS = 24, 20
"""Cells of the map made finer at the edge of what ends in time, and once more at the setting."""


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
        np.array([boiling_pressure_mbar(system, job, kelvin(a)) for a in grid.x]),
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
        found = []
        for start in range(0, len(settings), AT_ONCE):
            if self._progress is not None:
                done = self._share + self._part * start / len(settings)
                self._progress(done, "runs over the window")
            found.append(self._values(settings[start : start + AT_ONCE]))
        return np.concatenate(found, axis=1)

    def _values(self, settings: Sequence[Setting]) -> Array:
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
    boils = np.array([boiling_point_c(system, job, pascal(b)) for b in y])
    frozen = freezing_point_c(system)
    margins = {
        "does not boil": boils[:, None] - x[None, :],
        "vapour passes the condenser": np.broadcast_to(
            (breakthrough_pressure_mbar(system, job) - y)[:, None], shape
        ),
        "freezes": np.broadcast_to((frozen - boils)[:, None], shape),
    }
    if system.has_keeper:
        strip = np.array([keeper_pressure_mbar(system, kelvin(a)) for a in x])
        margins["keeper boils off"] = strip[None, :] - y[:, None]
    return margins
