"""The operating map: set temperature against end pressure, limits, run time, kept region."""

from __future__ import annotations

import math
from typing import Any

import altair as alt
import numpy as np

from wizard.charts.contours import (
    Line,
    bands,
    clipped,
    extended,
    lines,
    nice_levels,
    refine,
    refine_axis,
)
from wizard.charts.map_data import MapData, MapRegion, drawn, drawn_axes, x_axis, y_axis
from wizard.charts.map_marks import label_places, mark_layers, pick_layer
from wizard.charts.map_names import name_layers
from wizard.charts.palette import Palette, chart_of, dressed, outlined
from wizard.charts.point_labels import WIDTHS

FILL_ROWS = 2
"""Rows of a fill in each row that is drawn, so that its edge shows no steps."""


def operating_map(
    data: MapData, colours: Palette, height: int = 460, can_pick: bool = False
) -> Any:
    """The map: closed regions shaded and named, the kept region outlined, run time as contours.

    With ``can_pick`` a click chooses the nearest place.
    """
    x, y = drawn_axes(data)
    layers: list[Any] = []
    closed = [r for r in data.regions if r.kind == "closed"]
    for region, shade in zip(closed, _shades(len(closed), colours), strict=True):
        layers += _fill(region, x, y, shade, 1.0, data)
    for region in (r for r in data.regions if r.kind == "even"):
        layers += _fill(region, x, y, colours.main, 0.09, data)
    for region in (r for r in data.regions if r.kind == "kept"):
        layers += _fill(region, x, y, colours.main, 0.22, data)
        layers += _outline(region, x, y, colours, data)
    for region in (r for r in data.regions if r.kind in DASHES):
        layers += _outline(region, x, y, colours, data)
    contours, tags = _contours(data, x, y, colours)
    layers += contours
    layers += name_layers(data, (x, y), colours, tags, {
        shape: label_places(data, shape, height) for shape in WIDTHS})
    if can_pick:
        layers.append(pick_layer(data, colours))
    layers += mark_layers(data, colours, height)
    if not layers:
        layers = [_empty(data)]
    return dressed(alt.layer(*layers).properties(width="container", height=height), colours)


def _shades(count: int, colours: Palette) -> list[str]:
    return [colours.shades[i % len(colours.shades)] for i in range(count)]


def _fill(
    region: MapRegion, x: Any, y: Any, colour: str, opacity: float, data: MapData
) -> list[Any]:
    rows = np.exp(refine_axis(np.log(y), FILL_ROWS))
    found = bands(x, rows, refine(drawn(data, region.values), 1, FILL_ROWS), region.level)
    if not found:
        return []
    return [
        chart_of(found)
        .mark_rect(color=colour, opacity=opacity, stroke=colour, clip=True, aria=False,
                   strokeWidth=0.7 if opacity == 1.0 else 0)  # closes the seams of full fills
        .encode(x=x_axis(data), x2="x2:Q", y=y_axis(data), y2="y2:Q")
    ]


def _line_data(found: list[Line], least: int = 3) -> list[dict[str, float]]:
    return [
        {"x": px, "y": py, "line": n, "order": k}
        for n, line in enumerate(found) if len(line) >= least
        for k, (px, py) in enumerate(line)
    ]


DASHES = {"even": [2, 3], "before": [8, 4]}
"""Outlines without a fill: an even chance, and what was known before the trials."""


def _outline(region: MapRegion, x: Any, y: Any, colours: Palette, data: MapData) -> list[Any]:
    values = drawn(data, region.values)
    found = _line_data(lines(x, y, np.nan_to_num(values, nan=-1.0), region.level))
    if not found:
        return []
    return [
        chart_of(found)
        .mark_line(color=colours.main, strokeWidth=1.5 if region.kind in DASHES else 2.5,
                   strokeDash=DASHES.get(region.kind, [1, 0]), clip=True, aria=False)
        .encode(x=x_axis(data), y=y_axis(data), detail="line:N", order="order:O")
    ]


def _contours(
    data: MapData, x: Any, y: Any, colours: Palette
) -> tuple[list[Any], list[tuple[float, float, str]]]:
    """The lines of equal run time, and their labels with their places."""
    grid, late = np.asarray(data.run_time, dtype=float), data.timeless
    shown = np.isfinite(grid)
    if late is not None:
        shown &= np.asarray(late.values) < late.level
    known = grid[shown]
    if known.size < 4:
        return [], []
    fine = np.exp(drawn(data, extended(np.log(grid))))
    rows: list[dict[str, Any]] = []
    tags: list[dict[str, Any]] = []
    spots: list[tuple[float, float]] = []
    for level in nice_levels(float(known.min()), float(known.max())):
        found = lines(x, y, fine, level)
        if late is not None:
            found = clipped(found, x, y, drawn(data, late.values), late.level)
        found = [line for line in found if len(line) >= 6]
        for n, line in enumerate(found):
            rows += [{"x": a, "y": b, "line": f"{level}-{n}", "order": k}
                     for k, (a, b) in enumerate(line)]
        if found and len(found[0]) >= 12:
            at = _tag_place(found[0], data)
            if any(_is_near(at, spot, data) for spot in spots):
                continue
            tags.append({"x": at[0], "y": at[1], "text": f"{level:g} min"})
            spots.append(at)
    if not rows:
        return [], []
    dashes = (
        chart_of(rows)
        .mark_line(color=colours.muted, strokeWidth=1.1, strokeDash=[5, 3], clip=True,
                   aria=False)
        .encode(x=x_axis(data), y=y_axis(data), detail="line:N", order="order:O")
    )
    base = chart_of(tags).encode(x=x_axis(data), y=y_axis(data), text="text:N")
    words = outlined(base, colours, 5, fontSize=12, aria=False)
    return [dashes, *words], [(t["x"], t["y"], t["text"]) for t in tags]


def _is_near(one: tuple[float, float], other: tuple[float, float], data: MapData) -> bool:
    """Whether labels at these places would touch."""
    across = abs(one[0] - other[0]) / (data.x[-1] - data.x[0])
    up = abs(math.log(one[1] / other[1])) / math.log(data.y[-1] / data.y[0])
    return across < 0.17 and up < 0.06


def _tag_place(line: Line, data: MapData) -> tuple[float, float]:
    """A point of a contour for its label, away from the marks and the borders."""
    def room(point: tuple[float, float]) -> float:
        across = (point[0] - data.x[0]) / (data.x[-1] - data.x[0])
        up = math.log(point[1] / data.y[0]) / math.log(data.y[-1] / data.y[0])
        marks = [abs(across - (m.x - data.x[0]) / (data.x[-1] - data.x[0]))
                 + abs(up - math.log(m.y / data.y[0]) / math.log(data.y[-1] / data.y[0]))
                 for m in data.marks if m.y > 0]
        border = min(across, 1.0 - across, up, 1.0 - up)
        return min([4.0 * border, *marks, 0.35])

    places = [line[int(share * (len(line) - 1))] for share in (0.5, 0.62, 0.38, 0.75, 0.25)]
    return max(places, key=room)


def _empty(data: MapData) -> Any:
    corner = [{"x": data.x[0], "y": data.y[0]}]
    return chart_of(corner).mark_point(opacity=0).encode(x=x_axis(data), y=y_axis(data))
