"""Settings on a lattice over the window, and the largest box of nodes inside a region.

Coded coordinates run over the window of a factor, logarithmic for pressures and ramp rate.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.factor_space import coded, decoded, numeric_factors, tolerances
from experiments.job import EvaporationJob, Factor, Setting
from models.system import Array, Mask

LATTICE_POINTS = 343


@dataclass(frozen=True, eq=False)
class Slice:
    """Probability over two factors, the others at the set point: [len(y), len(x)]."""

    x: str
    y: str
    x_values: Array
    y_values: Array
    probability: Array


def factor_axis(factor: Factor, setting: Setting, points: int, held: float = 0.0) -> Array:
    """Values [N] over the window, evenly coded, the set point and what is held around it too."""
    centre = float(setting[factor.name])
    spread = [decoded(factor, float(p)) for p in np.linspace(0.0, 1.0, points)]
    wanted = [v for v in (centre - held, centre + held) if factor.low <= v <= factor.high]
    return np.unique(np.round([*spread, centre, *wanted], 9))


class Lattice:
    """Settings over the window, the set point one of the nodes."""

    def __init__(self, job: EvaporationJob, setting: Setting) -> None:
        self.setting = setting
        self.factors = numeric_factors(job)
        each = max(4, round(LATTICE_POINTS ** (1.0 / len(self.factors))))
        held = tolerances(job)
        self.axes = [factor_axis(f, setting, each, held.get(f.name, 0.0)) for f in self.factors]
        self.places = [
            np.array([coded(f, v) for v in a])
            for f, a in zip(self.factors, self.axes, strict=True)
        ]
        self.shape = tuple(len(a) for a in self.axes)
        self.centre = tuple(
            int(np.argmin(np.abs(a - float(setting[f.name]))))
            for f, a in zip(self.factors, self.axes, strict=True)
        )
        self.needed = [
            (int(np.searchsorted(a, v - h - 1e-6)), int(np.searchsorted(a, v + h + 1e-6)) - 1)
            for a, v, h in (
                (a, float(setting[f.name]), held.get(f.name, 0.0))
                for f, a in zip(self.factors, self.axes, strict=True)
            )
        ]
        """Nodes of each axis that the equipment's tolerance reaches."""

    def settings(self) -> list[Setting]:
        return [self.at(values) for values in itertools.product(*self.axes)]

    def at(self, values: Sequence[float]) -> Setting:
        """The set point with these values of the free factors."""
        own = {f.name: float(v) for f, v in zip(self.factors, values, strict=True)}
        return {**self.setting, **own}

    def share(self, inside: Mask) -> float:
        """Share of the coded window inside, each node weighted by its surroundings."""
        weights = [np.gradient(p) if len(p) > 1 else np.ones(1) for p in self.places]
        weight = np.ones(())
        for w in weights:
            weight = np.multiply.outer(weight, w)
        return float((weight * inside.reshape(self.shape)).sum() / weight.sum())

    def slice_at(self, probability: Array, x: int, y: int) -> Slice:
        """Probability over two factors through the set point."""
        index: list[int | slice] = list(self.centre)
        index[x] = index[y] = slice(None)
        plane = probability[tuple(index)]  # axes in order x, y because x < y
        return Slice(self.factors[x].name, self.factors[y].name, self.axes[x], self.axes[y],
                     plane.T)

    def largest_box(self, inside: Mask) -> list[tuple[int, int]]:
        """Node ranges of the box of largest coded volume that lies wholly inside.

        Every box that holds the equipment's tolerance around the set point is tried, then every
        other one; how many nodes of one lie inside comes from cumulative sums.
        """
        total = np.zeros(tuple(n + 1 for n in self.shape), dtype=int)
        total[tuple(slice(1, None) for _ in self.shape)] = inside
        for axis in range(len(self.shape)):
            total = total.cumsum(axis=axis)
        point = [(c, c) for c in self.centre]
        return self._largest(total, self.needed) or self._largest(total, point) or point

    def _largest(
        self, total: Array, needed: Sequence[tuple[int, int]]
    ) -> list[tuple[int, int]] | None:
        """The largest box that lies inside and holds the needed nodes; None without one."""
        spans = [
            [(i, j) for i in range(low + 1) for j in range(high, n)]
            for (low, high), n in zip(needed, self.shape, strict=True)
        ]
        best, size = None, (0.0, 0.0)
        for box in itertools.product(*spans):
            count = math.prod(j - i + 1 for i, j in box)
            if _sum_in(total, box) != count:
                continue
            widths = [p[j] - p[i] for p, (i, j) in zip(self.places, box, strict=True)]
            found = (math.prod(w + 1e-3 for w in widths), sum(widths))
            if found > size:
                best, size = list(box), found
        return best


def _sum_in(total: Array, box: Sequence[tuple[int, int]]) -> int:
    """Sum over a box from the cumulative sums, by inclusion and exclusion."""
    found = 0
    for corner in itertools.product((0, 1), repeat=len(box)):
        index = tuple(j + 1 if c else i for c, (i, j) in zip(corner, box, strict=True))
        found += (-1) ** (len(box) - sum(corner)) * int(total[index])
    return found
