"""The space of settings: coding, rounding to what the equipment can dial and holds, candidates.

A setting holds every factor, fixed ones too. Coded values run from 0 to 1 over the window
of a free factor, logarithmic for pressures and ramp rate because their effects are.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence

import numpy as np
from scipy.stats import qmc

from experiments.job import MAIN_FACTORS, EvaporationJob, Factor, Setting
from models.system import Array

LOGARITHMIC = ("ramp_rate_mbar_per_min", "end_pressure_mbar")


class FactorSpace:
    """Coding and candidates for the factors of one job."""

    def __init__(self, job: EvaporationJob) -> None:
        self.factors = job.factors
        self.free = job.free_factors
        self.dimension = sum(len(f.choices) or 1 for f in self.free)

    def snap(self, setting: Setting) -> Setting:
        """The nearest setting inside the window that the equipment can dial."""
        return {f.name: str(setting[f.name]) if f.choices else dialled(f, float(setting[f.name]))
                for f in self.factors}

    @property
    def steers(self) -> Array:
        """1 for coded columns [F] of what drives the boiling, 0 for hold and keeper.

        A job whose factors are all fixed has one column, which never differs.
        """
        return np.array([float(f.name in MAIN_FACTORS)
                         for f in self.free for _ in range(len(f.choices) or 1)] or [0.0])

    def code(self, settings: Sequence[Setting]) -> Array:
        """Coded values [M, F] of the free factors; a choice becomes one column each."""
        if not settings:
            return np.empty((0, max(self.dimension, 1)))
        columns = [column for f in self.free for column in _code(f, settings)]
        if not columns:
            return np.zeros((len(settings), 1))
        return np.column_stack(columns)

    def inside(self, setting: Setting) -> bool:
        """Whether a setting lies in the window (history may lie outside)."""
        return all(_inside(f, setting[f.name]) for f in self.factors)

    def from_unit(self, unit: Array) -> list[Setting]:
        """Settings from points [M, len(free)] of the unit cube, snapped, without repeats."""
        found = []
        for row in unit:
            setting: Setting = {f.name: f.first_value for f in self.factors}
            for factor, u in zip(self.free, row, strict=True):
                setting[factor.name] = _decode(factor, float(u))
            found.append(self.snap(setting))
        return unique(found)

    def to_unit(self, setting: Setting) -> Array:
        """Point [len(free)] of the unit cube of a setting."""
        values = []
        for f in self.free:
            if f.choices:
                chosen = str(setting[f.name])
                index = f.choices.index(chosen) if chosen in f.choices else 0
                values.append((index + 0.5) / len(f.choices))
            else:
                values.append(coded(f, float(setting[f.name])))
        return np.asarray(np.clip(np.array(values), 0.0, 1.0))

    def spread(self, count: int, seed: int) -> list[Setting]:
        """Space-filling settings (scrambled Sobol points, Owen 1998)."""
        if not self.free:
            return self.from_unit(np.empty((1, 0)))
        sampler = qmc.Sobol(len(self.free), scramble=True, rng=np.random.default_rng(seed))
        power = max(1, math.ceil(math.log2(count)))
        return self.from_unit(sampler.random_base2(power))

    def around(
        self, centres: Iterable[Setting], count: int, width: float, rng: np.random.Generator
    ) -> list[Setting]:
        """Settings scattered around ``centres`` with that coded standard deviation."""
        base = np.array([self.to_unit(c) for c in centres])
        if not len(base) or not self.free:
            return []
        picked = base[rng.integers(len(base), size=count)]
        step = width * rng.standard_normal(picked.shape)
        step *= rng.random(picked.shape) < 0.7
        return self.from_unit(np.clip(picked + step, 0.0, 1.0))

    def neighbours(self, setting: Setting, tolerance: dict[str, float]) -> list[Setting]:
        """Corners and middles of the edges of the equipment's tolerance (not snapped)."""
        return [
            {**setting, **{name: float(setting[name]) + step * delta
                           for step, (name, delta) in zip(steps, tolerance.items(), strict=True)}}
            for steps in itertools.product((-1.0, 1.0, 0.0), repeat=len(tolerance)) if any(steps)
        ]


def setting_key(setting: Setting) -> tuple[tuple[str, float | str], ...]:
    """A hashable key of a setting."""
    return tuple(
        (k, v if isinstance(v, str) else round(float(v), 9)) for k, v in sorted(setting.items())
    )


def unique(settings: Iterable[Setting]) -> list[Setting]:
    """The same settings in order without repeats."""
    return list({setting_key(s): s for s in settings}.values())


def numeric_factors(job: EvaporationJob) -> tuple[Factor, ...]:
    """The free factors that have a range."""
    return tuple(f for f in job.free_factors if not f.choices)


def tolerances(job: EvaporationJob) -> dict[str, float]:
    """What the equipment holds around a set point, by factor, in its unit."""
    return {
        "set_temperature_c": job.equipment.set_temperature_tolerance_c,
        "end_pressure_mbar": job.equipment.end_pressure_tolerance_mbar,
    }


def coded(factor: Factor, value: float) -> float:
    """Place of a value in the window of its factor: 0 at the low end, 1 at the high one."""
    if factor.name in LOGARITHMIC and factor.low > 0:
        low, high = math.log(factor.low), math.log(factor.high)
        return (math.log(max(value, 1e-9)) - low) / (high - low)
    return (value - factor.low) / (factor.high - factor.low)


def decoded(factor: Factor, place: float) -> float:
    """Value at a place in the window of a factor; the inverse of :func:`coded`."""
    if factor.name in LOGARITHMIC and factor.low > 0:
        return float(factor.low * (factor.high / factor.low) ** place)
    return factor.low + place * (factor.high - factor.low)


def _decode(factor: Factor, u: float) -> float | str:
    if factor.choices:
        return factor.choices[min(int(u * len(factor.choices)), len(factor.choices) - 1)]
    return decoded(factor, u)


def _code(factor: Factor, settings: Sequence[Setting]) -> list[Array]:
    if factor.choices:
        return [
            np.array([0.5 * (s[factor.name] == choice) for s in settings])
            for choice in factor.choices
        ]
    return [np.array([coded(factor, float(s[factor.name])) for s in settings])]


def dialled(factor: Factor, value: float) -> float:
    """The nearest value inside the range of a factor that the equipment can dial."""
    number = min(max(value, factor.low), factor.high)
    resolution = factor.resolution
    if factor.is_fixed or resolution <= 0:
        return number
    origin = factor.low if factor.step is not None else 0.0
    snapped = origin + round((number - origin) / resolution) * resolution
    if snapped > factor.high + 1e-9:
        snapped -= resolution
    if snapped < factor.low - 1e-9:
        snapped += resolution
    return round(min(max(snapped, factor.low), factor.high), 9)


def _inside(factor: Factor, value: float | str) -> bool:
    if factor.choices:
        return value in factor.choices
    return factor.low - 1e-9 <= float(value) <= factor.high + 1e-9
