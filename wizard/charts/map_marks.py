"""Settings as marks on the operating map, with their labels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import altair as alt

from wizard.charts.map_data import MapData, MapMark, domains, inside, x_axis, y_axis
from wizard.charts.palette import Palette, chart_of
from wizard.charts.point_labels import LETTER, PLOT, WIDTHS, Spot, label_layers, placed

KINDS = {
    "trial": ("circle", "trial run"), "pending": ("square", "trial to run"),
    "today": ("diamond", "method in use"), "recommended": ("triangle-up", "recommended"),
}


PICK = "pick"
"""Name of the selection that a click on the map makes."""
PICK_STEPS = (31, 25)
"""Places across and up the map that a click may choose."""


def pick_layer(data: MapData, colours: Palette) -> Any:
    """Places all over the map, unseen until one is clicked; the nearest one is taken."""
    low, high = float(data.x[0]), float(data.x[-1])
    least, most = math.log(float(data.y[0])), math.log(float(data.y[-1]))
    across, up = PICK_STEPS
    rows = [{"x": low + (high - low) * i / (across - 1),
             "y": math.exp(least + (most - least) * j / (up - 1))}
            for i in range(across) for j in range(up)]
    pick = alt.selection_point(name=PICK, fields=["x", "y"], nearest=True, on="click",
                               clear=False, empty=False)
    return (
        chart_of(rows)
        .mark_point(shape="cross", size=170, filled=True, color=colours.third, aria=False,
                    stroke=colours.paper, cursor="pointer")
        .encode(x=x_axis(data), y=y_axis(data),
                opacity=alt.when(pick).then(alt.value(1)).otherwise(alt.value(0)))
        .add_params(pick)
    )


def mark_layers(data: MapData, colours: Palette, height: int) -> list[Any]:
    """The marks, and one label for those that lie on each other."""
    shown = inside(data.marks, data.x, data.y)
    if not shown:
        return []
    rows = [{"x": m.x, "y": m.y, "label": m.label, "kind": KINDS[m.kind][1]} for m in shown]
    kinds = [k for k in KINDS if any(m.kind == k for m in shown)]
    fills = {"trial": colours.ink, "pending": colours.paper, "today": colours.second,
             "recommended": colours.main}
    names = [KINDS[k][1] for k in kinds]
    base = chart_of(rows).encode(x=x_axis(data), y=y_axis(data))
    points = base.mark_point(size=130, filled=True, stroke=colours.ink, strokeWidth=1.6,
                             opacity=1.0, clip=True).encode(
        shape=alt.Shape("kind:N", title=None,
                        scale=alt.Scale(domain=names, range=[KINDS[k][0] for k in kinds])),
        fill=alt.Fill("kind:N", title=None,
                      scale=alt.Scale(domain=names, range=[fills[k] for k in kinds])),
        tooltip=[alt.Tooltip("label:N", title="Setting")],
        description=alt.Description("label:N"),
    )
    labelled, spots = _labelled(shown, data)
    return [points, *label_layers(labelled, (x_axis(data), y_axis(data)), ("text", "weight"),
                                  spots, PLOT * height, (), colours)]


def label_places(data: MapData, shape: str, height: int) -> list[tuple[float, float, str]]:
    """The labels of the marks, each with its middle, on a wide or a narrow map of that height."""
    rows, spots = _labelled(inside(data.marks, data.x, data.y), data)
    x, y = domains(data)
    size = WIDTHS[shape], PLOT * height
    found = []
    for spot, (dx, dy, align) in zip(spots, placed(spots, size[1], shape), strict=True):
        half = 0.5 * LETTER * len(spot.text) * {"left": 1.0, "center": 0.0, "right": -1.0}[align]
        across, up = spot.x + (dx + half) / size[0], 1.0 - spot.y - dy / size[1]
        found.append((x[0] + across * (x[1] - x[0]), y[0] * (y[1] / y[0]) ** up, spot.text))
    return [place for place, row in zip(found, rows, strict=True) if row["text"]]


def _labelled(
    marks: Sequence[MapMark], data: MapData
) -> tuple[list[dict[str, Any]], list[Spot]]:
    """Every mark with its label, "" where another one names it, and its place in the plot."""
    x, y = domains(data)
    rows, spots = [], []
    for group in _grouped(marks, data):
        names = ", ".join(m.label.split(":")[0] for m in group)
        for n, mark in enumerate(group):
            text = "" if n else names
            rows.append({"x": mark.x, "y": mark.y, "text": text, "weight": "normal"})
            spots.append(Spot((mark.x - x[0]) / (x[1] - x[0]),
                              1.0 - math.log(mark.y / y[0]) / math.log(y[1] / y[0]), text))
    return rows, spots


def _grouped(marks: Sequence[MapMark], data: MapData) -> list[list[MapMark]]:
    """Marks that lie on each other together; the recommended one stands alone."""
    width = float(data.x[-1]) - float(data.x[0])
    height = math.log(float(data.y[-1]) / float(data.y[0]))
    groups: list[list[MapMark]] = []
    for mark in marks:
        lone = mark.kind == "recommended"
        home = None if lone else next((g for g in groups if abs(g[0].x - mark.x) < 0.035 * width
                     and abs(math.log(g[0].y / mark.y)) < 0.06 * height), None)
        if home is None:
            groups.append([mark])
        else:
            home.append(mark)
    return groups
