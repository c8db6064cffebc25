"""Settings as marks on the operating map, with their labels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import altair as alt

from wizard.charts.map_data import MapData, MapMark, inside, x_axis, y_axis
from wizard.charts.palette import Palette, chart_of, outlined

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


def mark_layers(data: MapData, colours: Palette) -> list[Any]:
    """The marks, and one label for those that lie on each other."""
    shown = inside(data.marks, data.x, data.y)
    if not shown:
        return []
    rows = [{"x": m.x, "y": m.y, "label": m.label, "kind": KINDS[m.kind][1]} for m in shown]
    names_at = _grouped(shown, data)
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
    words = []
    for align, side in (("left", 1), ("right", -1)):
        chosen = [n for n in names_at if n["side"] == side]
        if chosen:
            base = chart_of(chosen).encode(x=x_axis(data), y=y_axis(data), text="text:N")
            style: dict[str, Any] = {"fontSize": 12, "dx": 9 * side, "dy": -9, "align": align,
                                     "aria": False}
            words += outlined(base, colours, 3, outline_opacity=0.85, **style)
    return [points, *words]


def label_places(data: MapData) -> list[tuple[float, float, str]]:
    """The labels of the marks, each with the mark it stands at."""
    shown = inside(data.marks, data.x, data.y)
    return [(n["x"], n["y"], n["text"]) for n in _grouped(shown, data)]


def _grouped(marks: Sequence[MapMark], data: MapData) -> list[dict[str, Any]]:
    """One label for marks that lie on each other, on the side where there is room."""
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
    return [
        {"x": g[0].x, "y": g[0].y, "text": ", ".join(m.label.split(":")[0] for m in g),
         "side": -1 if g[0].x > data.x[-1] - 0.07 * width else 1}
        for g in groups
    ]
