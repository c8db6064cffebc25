"""A grid over two factors that is fine only where it matters. Numbers in, numbers out.

Every level halves the steps of the one before; only the cells that matter are asked for
their new nodes, the others are filled in between.

========  =======================================  =========
symbol    meaning                                  shape
========  =======================================  =========
x         abscissae, rising                        [X]
y         ordinates, rising, spread by ratio       [Y]
values    quantities at the nodes                  [Q, Y, X]
known     whether a node was asked                 [Y, X]
========  =======================================  =========
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from models.system import Array, Mask

Measure = Callable[[Array, Array], Array]
"""Quantities [Q, N] at places given by x [N] and y [N]."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Quantities over two factors; see the module for the shapes."""

    x: Array
    y: Array
    values: Array
    known: Mask


def with_node(axis: Array, place: float | None, by_ratio: bool = False) -> Array:
    """The axis with a node at a place inside it, which moves the nearest inner node there.

    >>> with_node(np.array([0.0, 1.0, 2.0, 3.0]), 1.2).tolist()
    [0.0, 1.2, 2.0, 3.0]
    >>> with_node(np.array([0.0, 1.0, 2.0, 3.0]), 0.2).tolist()
    [0.0, 0.2, 1.0, 2.0, 3.0]
    """
    if place is None or not axis[0] < place < axis[-1]:
        return axis
    scaled, at = (np.log(axis), np.log(place)) if by_ratio else (axis, place)
    nearest = int(np.argmin(np.abs(scaled - at)))
    kept = axis if nearest in (0, len(axis) - 1) else np.delete(axis, nearest)
    return np.unique(np.append(kept, place))


def coarse_grid(x: Array, y: Array, measure: Measure) -> Grid:
    """Every node asked."""
    across, up = np.meshgrid(x, y)
    values = measure(across.ravel(), up.ravel())
    return Grid(x, y, values.reshape(len(values), len(y), len(x)), np.ones(across.shape, bool))


def refined(grid: Grid, cells: Mask, measure: Measure) -> Grid:
    """Half the steps; the new nodes of the ``cells`` [Y - 1, X - 1] are asked."""
    x = _halved(grid.x, 0)
    y = np.exp(_halved(np.log(grid.y), 0))
    y[::2] = grid.y
    values = _halved(_halved(grid.values, 1), 2)
    known = np.zeros((len(y), len(x)), bool)
    known[::2, ::2] = grid.known
    wanted = np.zeros_like(known)
    for j, i in zip(*np.nonzero(cells), strict=True):
        wanted[2 * j : 2 * j + 3, 2 * i : 2 * i + 3] = True
    rows, columns = np.nonzero(wanted & ~known)
    if len(rows):
        values[:, rows, columns] = measure(x[columns], y[rows])
    return Grid(x, y, values, known | wanted)


def crossing(values: Array, level: float) -> Mask:
    """Cells [Y - 1, X - 1] whose corners lie on both sides of a level."""
    above = values >= level
    corners = np.stack([above[:-1, :-1], above[1:, :-1], above[:-1, 1:], above[1:, 1:]])
    return np.asarray(corners.any(axis=0) & ~corners.all(axis=0))


def nearest(cells: Mask, grid: Grid, place: tuple[float, float] | None, most: int) -> Mask:
    """At most so many of the cells, those nearest to a place first."""
    rows, columns = np.nonzero(cells)
    if len(rows) <= most:
        return cells
    at = place or (0.5 * (grid.x[0] + grid.x[-1]), float(np.sqrt(grid.y[0] * grid.y[-1])))
    middle_x, middle_y = _middles(grid.x), _middles(np.log(grid.y))
    across = (middle_x[columns] - at[0]) / (grid.x[-1] - grid.x[0])
    up = (middle_y[rows] - np.log(at[1])) / np.log(grid.y[-1] / grid.y[0])
    first = np.argsort(np.hypot(across, up), kind="stable")[:most]
    found = np.zeros_like(cells)
    found[rows[first], columns[first]] = True
    return found


def around(grid: Grid, place: tuple[float, float] | None) -> Mask:
    """Cells that touch a place."""
    if place is None:
        return np.zeros((len(grid.y) - 1, len(grid.x) - 1), bool)
    across = (grid.x[:-1] <= place[0]) & (place[0] <= grid.x[1:])
    up = (grid.y[:-1] <= place[1]) & (place[1] <= grid.y[1:])
    return np.asarray(up[:, None] & across[None, :])


def any_of(masks: Sequence[Mask]) -> Mask:
    """Cells in any of the masks."""
    return np.asarray(np.logical_or.reduce(list(masks)))


def _middles(axis: Array) -> Array:
    return np.asarray(0.5 * (axis[:-1] + axis[1:]))


def _halved(values: Array, axis: int) -> Array:
    """A middle between any two neighbours; NaN spreads."""
    moved = np.moveaxis(values, axis, 0)
    found = np.empty((2 * len(moved) - 1, *moved.shape[1:]))
    found[::2], found[1::2] = moved, 0.5 * (moved[:-1] + moved[1:])
    return np.moveaxis(found, 0, axis)
