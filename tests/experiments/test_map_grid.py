"""The grid of the operating map: exact where it was asked, fine where it matters."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.map_grid import (
    around,
    coarse_grid,
    crossing,
    nearest,
    refined,
    with_node,
)

X, Y = np.linspace(0.0, 10.0, 11), np.geomspace(1.0, 100.0, 9)
places = st.tuples(st.floats(0.0, 10.0), st.floats(1.0, 100.0))


def hill(x, y):
    """One quantity [1, N], 1 at (4, 10) and falling in every direction."""
    return np.array([np.exp(-(((x - 4.0) / 3.0) ** 2) - (np.log(y / 10.0) / 1.2) ** 2)])


class Asked:
    """Remembers at how many places it was asked."""

    def __init__(self):
        self.count = 0

    def __call__(self, x, y):
        self.count += len(x)
        return hill(x, y)


@given(places)
def test_a_place_gets_its_own_row_and_column(place):
    x, y = with_node(X, place[0]), with_node(Y, place[1], by_ratio=True)
    assert place[0] in x
    assert place[1] in y
    for axis, old in ((x, X), (y, Y)):
        assert (np.diff(axis) > 0).all()
        assert (axis[0], axis[-1]) == (old[0], old[-1])
        assert len(old) <= len(axis) <= len(old) + 1


@given(places)
def test_the_value_at_a_place_survives_every_pass(place):
    x, y = with_node(X, place[0]), with_node(Y, place[1], by_ratio=True)
    grid = coarse_grid(x, y, hill)
    for _ in range(2):
        grid = refined(grid, around(grid, place), hill)
        i, j = grid.x.tolist().index(place[0]), grid.y.tolist().index(place[1])
        known = hill(*map(np.array, place))[0]
        assert grid.values[0, j, i] == pytest.approx(known, rel=1e-12)


def test_only_cells_that_matter_are_asked_and_they_are_exact():
    asked = Asked()
    grid = coarse_grid(X, Y, asked)
    cells = crossing(grid.values[0], 0.5)
    assert 0 < cells.sum() < cells.size / 2
    fine = refined(grid, cells, asked)
    assert asked.count == fine.known.sum() < fine.known.size / 2
    across, up = np.meshgrid(fine.x, fine.y)
    exact = hill(across, up)[0]
    assert fine.values[0][fine.known] == pytest.approx(exact[fine.known])
    # a node left out lies in a cell whose corners are on one side, so it is on that side too
    assert ((fine.values[0] >= 0.5) == (exact >= 0.5))[~fine.known].all()


def test_what_was_not_asked_lies_between_its_neighbours():
    grid = coarse_grid(X, Y, hill)
    fine = refined(grid, np.zeros((8, 10), bool), hill)
    values = fine.values[0]
    assert values[::2, 1::2] == pytest.approx(0.5 * (values[::2, :-1:2] + values[::2, 2::2]))
    assert fine.known.sum() == grid.known.size


def test_the_cells_nearest_to_a_place_are_kept():
    grid = coarse_grid(X, Y, hill)
    kept = nearest(np.ones((8, 10), bool), grid, (0.5, 1.2), 4)
    assert kept.sum() == 4
    assert kept[:2, :2].sum() >= 3
    few = crossing(grid.values[0], 0.99)
    assert (nearest(few, grid, (0.5, 1.2), 500) == few).all()
