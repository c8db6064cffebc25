"""Geometry of maps against shapes whose answer is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wizard.charts.contours import (
    bands,
    clipped,
    extended,
    lines,
    nice_levels,
    refine,
    refine_axis,
)


def cone(n=41):
    """1 - r on a square, so that the level 0.5 is a circle of radius 0.5."""
    x = np.linspace(-1.03, 0.97, n)  # no node falls on the circle
    return x, x, 1.0 - np.hypot(*np.meshgrid(x, x))


def test_a_level_of_a_cone_is_a_closed_circle():
    x, y, values = cone()
    (line,) = lines(x, y, values, 0.5)
    radii = [math.hypot(a, b) for a, b in line]
    # linear interpolation on cells of 0.05 bends the circle by at most h^2/(8 r) = 0.0006
    assert max(abs(r - 0.5) for r in radii) < 7e-4
    assert line[0] == pytest.approx(line[-1])


def test_bands_fill_the_same_circle():
    x, y, values = cone()
    found = bands(x, y, values, 0.5)
    area = sum((b["x2"] - b["x"]) * (b["y2"] - b["y"]) for b in found)
    # rows of 0.05: the midpoint rule on a half circle is good to 1 %
    assert area == pytest.approx(math.pi / 4, rel=0.01)


def test_a_gap_in_the_grid_gives_no_line_through_it():
    x, y, values = cone()
    values[:, 20:] = np.nan
    for line in lines(x, y, values, 0.5):
        assert all(a <= x[19] + 1e-9 for a, _ in line)


def test_refining_keeps_the_nodes_and_is_linear_between():
    values = np.array([[0.0, 1.0], [2.0, 3.0]])
    fine = refine(values, 4, 2)
    assert fine.shape == (3, 5)
    assert fine[::2, ::4].tolist() == values.tolist()
    assert fine[1, 2] == pytest.approx(1.5)
    assert refine_axis([1.0, 3.0], 2).tolist() == [1.0, 2.0, 3.0]


@given(low=st.floats(0.5, 500.0), ratio=st.floats(1.05, 1000.0))
def test_levels_are_round_inside_and_few(low, ratio):
    high = low * ratio
    found = nice_levels(low, high)
    assert all(low < v < high for v in found)
    assert found == sorted(set(found))
    assert len(found) <= 6


def test_no_levels_without_a_range():
    assert nice_levels(5.0, 5.0) == []
    assert nice_levels(0.0, 5.0) == []
    assert nice_levels(1.0, math.inf) == []


def test_a_plane_is_carried_on_straight_into_what_is_unknown():
    across, up = np.meshgrid(np.arange(9.0), np.arange(7.0))
    plane = 2.0 * across - 3.0 * up
    holed = np.where(across + up > 9, np.nan, plane)
    assert np.isnan(holed).any()
    found = extended(holed, rings=6)
    assert found == pytest.approx(plane)
    assert np.isnan(extended(holed, rings=1)).any()


def test_lines_are_cut_where_the_quantity_reaches_the_level():
    x = np.linspace(0.0, 1.0, 11)
    across, _ = np.meshgrid(x, x)
    line = [(k / 7, 0.4) for k in range(8)]
    hump = 1.0 - 4.0 * np.abs(across - 0.5)  # above 0 between 0.25 and 0.75
    before, after = sorted(clipped([line], x, x, hump, 0.0))
    assert before[0] == (0.0, 0.4)
    # cells of 0.1 hold the straight sides of the hump exactly
    assert before[-1] == pytest.approx((0.25, 0.4))
    assert after[0] == pytest.approx((0.75, 0.4))
    assert after[-1] == (1.0, 0.4)
    assert clipped([line], x, x, hump, -2.0) == []
