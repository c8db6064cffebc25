"""Lines and bands of a quantity known on a grid, for maps. Pure geometry.

========  =========================================  =========
symbol    meaning                                    shape
========  =========================================  =========
x         abscissae, rising                          [X]
y         ordinates, rising                          [Y]
values    the quantity; NaN where there is none      [Y, X]
========  =========================================  =========
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from models.system import Array

Line = list[tuple[float, float]]


def refine(values: Any, across: int, along: int) -> Array:
    """The grid with so many steps in each old one, linear in between; NaN spreads."""
    return _along(_along(np.asarray(values, dtype=float), along, 0), across, 1)


def refine_axis(axis: Sequence[float], factor: int) -> Array:
    """The places of the refined grid."""
    return _along(np.asarray(axis, dtype=float), factor, 0)


def _along(values: Array, factor: int, axis: int) -> Array:
    n = values.shape[axis]
    at = np.linspace(0.0, n - 1.0, factor * (n - 1) + 1)
    low = np.minimum(np.floor(at).astype(int), n - 2)
    share = at - low
    shape = [1] * values.ndim
    shape[axis] = len(at)
    share = share.reshape(shape)
    before, after = np.take(values, low, axis), np.take(values, low + 1, axis)
    mixed = np.where(share == 0.0, before, np.where(share == 1.0, after,
                     before * (1.0 - share) + after * share))
    return np.asarray(mixed, dtype=float)


def extended(values: Any, rings: int = 4) -> Array:
    """The quantity carried on, straight where it can be, into so many rings of unknown nodes."""
    grid = np.array(values, dtype=float)
    for _ in range(rings):
        guesses = np.array([
            *(_carried(grid[::step])[::step] for step in (1, -1)),
            *(_carried(grid.T[::step])[::step].T for step in (1, -1)),
        ])
        count = np.isfinite(guesses).sum(axis=0)
        mean = np.nansum(guesses, axis=0) / np.maximum(count, 1)
        grid = np.where(np.isnan(grid) & (count > 0), mean, grid)
    return grid


def _carried(values: Array) -> Array:
    """What each row would be if it went on from the two rows before it."""
    found = np.full_like(values, np.nan)
    found[1:] = values[:-1]
    straight = 2.0 * values[1:-1] - values[:-2]
    found[2:] = np.where(np.isfinite(straight), straight, found[2:])
    return found


def clipped(
    found: Sequence[Line], x: Sequence[float], y: Sequence[float], values: Any, level: float
) -> list[Line]:
    """The parts of lines where the quantity lies below ``level``, longest first."""
    grid, parts = np.asarray(values, dtype=float), []
    for line in found:
        heights = _heights(line, np.asarray(x, float), np.asarray(y, float), grid)
        part: Line = []
        for k, (point, height) in enumerate(zip(line, heights, strict=True)):
            if k and (height < level) != (heights[k - 1] < level):
                share = (level - heights[k - 1]) / (height - heights[k - 1])
                before = line[k - 1]
                part.append((before[0] + share * (point[0] - before[0]),
                             before[1] + share * (point[1] - before[1])))
            if height < level:
                part.append(point)
            elif part:
                parts.append(part)
                part = []
        if part:
            parts.append(part)
    return sorted(parts, key=len, reverse=True)


def _heights(line: Line, x: Array, y: Array, grid: Array) -> Array:
    """The quantity at the points of a line, linear in between the nodes."""
    across = np.interp([p[0] for p in line], x, np.arange(len(x)))
    up = np.interp([p[1] for p in line], y, np.arange(len(y)))
    i = np.minimum(across.astype(int), len(x) - 2)
    j = np.minimum(up.astype(int), len(y) - 2)
    s, t = across - i, up - j
    low = grid[j, i] * (1.0 - s) + grid[j, i + 1] * s
    high = grid[j + 1, i] * (1.0 - s) + grid[j + 1, i + 1] * s
    return np.asarray(low * (1.0 - t) + high * t)


def bands(
    x: Sequence[float], y: Any, values: Any, level: float
) -> list[dict[str, float]]:
    """Where ``values >= level``, as thin bands: ``x``, ``x2``, ``y``, ``y2`` of each.

    A band lies between the middles of neighbouring rows; its ends are interpolated.
    """
    xs, ys, grid = np.asarray(x, float), np.asarray(y, float), np.asarray(values, float)
    edges = np.concatenate([ys[:1], 0.5 * (ys[1:] + ys[:-1]), ys[-1:]])
    found = []
    for row, low, high in zip(grid, edges[:-1], edges[1:], strict=True):
        found += [{"x": a, "x2": b, "y": float(low), "y2": float(high)}
                  for a, b in _spans(xs, row, level)]
    return found


def _spans(x: Array, row: Array, level: float) -> list[tuple[float, float]]:
    spans: list[tuple[float, float]] = []
    start: float | None = None
    for i, value in enumerate(row):
        inside = bool(value >= level)
        if inside and start is None:
            start = float(x[0]) if i == 0 else _crossing(x, row, i - 1, level)
        if not inside and start is not None:
            spans.append((start, _crossing(x, row, i - 1, level)))
            start = None
    if start is not None:
        spans.append((start, float(x[-1])))
    return [(a, b) for a, b in spans if b > a]


def _crossing(x: Array, row: Array, i: int, level: float) -> float:
    a, b = row[i], row[i + 1]
    if not (math.isfinite(a) and math.isfinite(b)) or a == b:
        return float(x[i + 1] if math.isfinite(b) and b >= level else x[i])
    return float(x[i] + (level - a) / (b - a) * (x[i + 1] - x[i]))


def lines(x: Sequence[float], y: Sequence[float], values: Any, level: float) -> list[Line]:
    """The lines where the quantity equals ``level`` (marching squares), joined end to end."""
    grid = np.asarray(values, dtype=float)
    pieces: list[tuple[tuple[float, float], tuple[float, float]]] = []
    for j in range(len(y) - 1):
        for i in range(len(x) - 1):
            corners = grid[j : j + 2, i : i + 2]
            if np.isfinite(corners).all() and corners.min() < level <= corners.max():
                pieces += _cell(x, y, corners, (i, j), level)
    return _joined(pieces)


def _cell(
    x: Sequence[float], y: Sequence[float], v: Array, at: tuple[int, int], level: float
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    i, j = at
    x0, x1, y0, y1 = float(x[i]), float(x[i + 1]), float(y[j]), float(y[j + 1])
    around = [(x0, y0, v[0, 0]), (x1, y0, v[0, 1]), (x1, y1, v[1, 1]), (x0, y1, v[1, 0])]
    hits = []
    for a, b in zip(around, [*around[1:], around[0]], strict=True):
        if (a[2] < level) != (b[2] < level):
            t = float((level - a[2]) / (b[2] - a[2]))
            hits.append((round(a[0] + t * (b[0] - a[0]), 9), round(a[1] + t * (b[1] - a[1]), 9)))
    if len(hits) == 4 and float(v.mean()) >= level:
        hits = [hits[3], hits[0], hits[1], hits[2]]
    return [(hits[k], hits[k + 1]) for k in range(0, len(hits) - 1, 2)]


def _joined(pieces: list[tuple[tuple[float, float], tuple[float, float]]]) -> list[Line]:
    ends: dict[tuple[float, float], list[int]] = {}
    for n, piece in enumerate(pieces):
        for end in piece:
            ends.setdefault(end, []).append(n)
    left, found = set(range(len(pieces))), []
    while left:
        first = left.pop()
        line = list(pieces[first])
        for grow_at_end in (True, False):
            while True:
                tip = line[-1] if grow_at_end else line[0]
                following = next((n for n in ends[tip] if n in left), None)
                if following is None:
                    break
                left.discard(following)
                a, b = pieces[following]
                other = b if a == tip else a
                line.insert(len(line) if grow_at_end else 0, other)
        found.append(line)
    return sorted(found, key=len, reverse=True)


def nice_levels(low: float, high: float, count: int = 5) -> list[float]:
    """Round numbers between two positive ones, at most ``count``; spread by ratio.

    >>> nice_levels(18, 100), nice_levels(30, 45)
    ([20.0, 30.0, 40.0, 60.0, 80.0], [35.0, 40.0])
    """
    if not (0 < low < high and math.isfinite(high)):
        return []
    if high / low < 2.5:
        step = next(s for s in _steps_from(high - low) if (high - low) / s <= count)
        first = math.floor(low / step) + 1
        return [n * step for n in range(first, math.ceil(high / step)) if low < n * step < high]
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for steps in ((1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0), (1.0, 2.0, 3.0, 5.0), (1.0, 2.0, 5.0),
                  (1.0, 3.0), (1.0,)):
        inside = [s * 10.0**d for d in decades for s in steps if low < s * 10.0**d < high]
        if len(inside) <= count:
            return inside
    return inside[:count]


def _steps_from(width: float) -> list[float]:
    decade = 10.0 ** (math.floor(math.log10(width)) - 1)
    return [s * decade * ten for ten in (1.0, 10.0, 100.0) for s in (1.0, 2.0, 5.0)]
