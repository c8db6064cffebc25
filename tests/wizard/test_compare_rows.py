"""What a comparison shows where readings below their limit leave a mean open."""

from __future__ import annotations

import math

import pytest

from experiments.differences import Comparison, Difference
from wizard.charts import differences as charts
from wizard.charts.palette import LIGHT
from wizard.units import Units
from wizard.view_models import compare_rows

LEFT_OPEN = Difference("recovery of a", "points", "T1", "T2", 93.0, math.nan, math.nan, -95.1,
                       -37.2, 1e-6, "different", "", (93.0, 93.0), (0.0, 50.0))
A_LITTLE = Difference("recovery of b", "points", "T1", "T2", 93.0, 52.0, -41.0, -48.0, -34.0,
                      1e-6, "different", "", (93.0, 93.0), (51.6, 52.4))
PLAIN = Difference("recovery of c", "points", "T1", "T2", 93.0, 91.0, -2.0, -9.0, 5.0, 0.5,
                   "cannot tell", "")


@pytest.mark.parametrize(("found", "to", "difference"), [
    (LEFT_OPEN, "T2: 0.0 to 50.0", "−95.1 to −37.2"),
    (A_LITTLE, "T2: 52.0", "−41.0 (−48.0 to −34.0)"),
    (PLAIN, "T2: 91.0", "−2.0 (−9.0 to +5.0)"),
])
def test_what_was_not_measured_is_shown_as_a_range(found, to, difference):
    (line,) = compare_rows.difference_lines(Comparison((found,)), Units())
    assert line["from"] == "T1: 93.0"
    assert (line["to"], line["difference (95 %)"]) == (to, difference)


def test_readings_below_their_limit_are_said_once():
    said = compare_rows.open_sentence(Comparison((LEFT_OPEN, A_LITTLE, PLAIN)))
    assert said.startswith("Readings of a and b below their limit count as anything from zero")
    assert compare_rows.open_sentence(Comparison((PLAIN,))) == ""


def test_no_point_is_drawn_where_no_difference_was_measured():
    rows = compare_rows.chart_rows(Comparison((LEFT_OPEN, PLAIN)), "points")
    spec = charts.differences_chart(rows, 5.0, "points", LIGHT).to_dict()
    held = {layer["mark"]["type"]: layer["data"]["values"] for layer in spec["layer"]
            if "y" in layer["encoding"]}
    assert [row["name"] for row in held["point"]] == ["c"]
    said = [layer["data"]["values"][0]["said"] for layer in spec["layer"]
            if "tooltip" in layer["encoding"]]
    assert said[0] == "a: -95.1 to -37.2 points, different"
