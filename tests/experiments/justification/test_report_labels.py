"""Labels beside the points of a figure of the report."""

from __future__ import annotations

from experiments.report.charts import ROOM, _place_labels
from experiments.report.labels import PLACES, WIDTH


def test_labels_of_a_crowd_at_the_left_edge_stay_off_the_axis():
    """Eight trials of nearly the same time once had labels over the title of the axis."""
    data = [{"analyte": "a", "time": 18.0 + 0.1 * (n % 3), "recovery": 90.0 + n, "target": 85.0}
            for n in range(8)] + [{"analyte": "a", "time": 78.0, "recovery": 86.0, "target": 85.0}]
    _place_labels(data, ["a"], 200.0, 125.0)
    for row in data:
        dx, _, side = PLACES[row["place"]]
        left = {"left": 0.0, "center": -0.5 * WIDTH, "right": -WIDTH}[side]
        assert 200.0 * (row["time"] - 18.0) / 60.0 + dx + left >= -ROOM
