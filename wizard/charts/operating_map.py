"""The operating map: set temperature against end pressure, limits, run time, kept region."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt
import numpy as np

from wizard.charts.contours import Line, bands, lines, nice_levels, refine, refine_axis
from wizard.charts.palette import Palette, chart_of, dressed

FINER_X, FINER_Y = 4, 9
"""Steps drawn in each step of the grid."""


@dataclass(frozen=True)
class MapRegion:
    """A quantity over the map whose values at or above ``level`` fill a region."""

    name: str
    values: Sequence[Sequence[float]]
    level: float
    kind: str = "closed"  # closed | kept


@dataclass(frozen=True)
class MapMark:
    """A single setting on the map."""

    x: float
    y: float
    label: str
    kind: str  # trial | pending | today | recommended


@dataclass(frozen=True)
class MapData:
    """Everything on the map, in the reader's units.

    ``x`` [X] set temperatures and ``y`` [Y] end pressures, rising; grids are [Y, X].
    """

    x: Sequence[float]
    y: Sequence[float]
    x_title: str
    y_title: str
    run_time: Sequence[Sequence[float]]
    regions: Sequence[MapRegion] = ()
    marks: Sequence[MapMark] = ()
    curves: Mapping[str, Line] = field(default_factory=dict)
    assurance_label: str = ""


def operating_map(data: MapData, colours: Palette, height: int = 460) -> Any:
    """The map: closed regions shaded and named, the kept region outlined, run time as contours."""
    x, y = refine_axis(data.x, FINER_X), _by_ratio(data.y, FINER_Y)
    layers: list[Any] = []
    closed = [r for r in data.regions if r.kind == "closed"]
    for region, shade in zip(closed, _shades(len(closed), colours), strict=True):
        layers += _fill(region, x, y, shade, 1.0, data)
    for region in (r for r in data.regions if r.kind == "kept"):
        layers += _fill(region, x, y, colours.main, 0.22, data)
        layers += _outline(region, x, y, colours, data)
    layers += _contours(data, x, y, colours)
    layers += _curves(data, colours)
    layers += _names(data, x, y, colours)
    layers += _marks(data, colours)
    if not layers:
        layers = [_empty(data)]
    return dressed(alt.layer(*layers).properties(width="container", height=height), colours)


def _fine(values: Any) -> Any:
    return refine(values, FINER_X, FINER_Y)


def _by_ratio(axis: Sequence[float], factor: int) -> Any:
    return np.exp(refine_axis(np.log(np.asarray(axis, dtype=float)), factor))


def _x(data: MapData, name: str = "x:Q") -> alt.X:
    return alt.X(name, title=data.x_title,
                 scale=alt.Scale(domain=[data.x[0], data.x[-1]], nice=False, zero=False))


def _y(data: MapData, name: str = "y:Q") -> alt.Y:
    low, high = float(data.y[0]), float(data.y[-1])
    ticks = [v for v in (1, 2, 3, 5, 10, 20, 30, 50, 100, 200, 300, 500, 1000)
             if low <= v <= high] or nice_levels(low, high)
    return alt.Y(name, title=data.y_title, axis=alt.Axis(values=ticks, format="~g"),
                 scale=alt.Scale(type="log", domain=[low, high], nice=False))


def _shades(count: int, colours: Palette) -> list[str]:
    return [colours.shades[i % len(colours.shades)] for i in range(count)]


def _fill(
    region: MapRegion, x: Any, y: Any, colour: str, opacity: float, data: MapData
) -> list[Any]:
    found = bands(x, y, _fine(region.values), region.level)
    if not found:
        return []
    return [
        chart_of(found)
        .mark_rect(color=colour, opacity=opacity, strokeWidth=0, clip=True, aria=False)
        .encode(x=_x(data), x2="x2:Q", y=_y(data), y2="y2:Q")
    ]


def _line_data(found: list[Line], least: int = 3) -> list[dict[str, float]]:
    return [
        {"x": px, "y": py, "line": n, "order": k}
        for n, line in enumerate(found) if len(line) >= least
        for k, (px, py) in enumerate(line)
    ]


def _outline(region: MapRegion, x: Any, y: Any, colours: Palette, data: MapData) -> list[Any]:
    values = _fine(region.values)
    found = _line_data(lines(x, y, np.nan_to_num(values, nan=-1.0), region.level))
    if not found:
        return []
    return [
        chart_of(found)
        .mark_line(color=colours.main, strokeWidth=2.5, clip=True, aria=False)
        .encode(x=_x(data), y=_y(data), detail="line:N", order="order:O")
    ]


def _contours(data: MapData, x: Any, y: Any, colours: Palette) -> list[Any]:
    grid = np.asarray(data.run_time, dtype=float)
    known = grid[np.isfinite(grid)]
    if known.size < 4:
        return []
    fine = np.exp(_fine(np.log(grid)))
    rows, tags = [], []
    for level in nice_levels(float(known.min()), float(known.max())):
        found = [line for line in lines(x, y, fine, level) if len(line) >= 6]
        for n, line in enumerate(found):
            rows += [{"x": a, "y": b, "line": f"{level}-{n}", "order": k}
                     for k, (a, b) in enumerate(line)]
        if found and len(found[0]) >= 12:
            at = found[0][int(0.62 * len(found[0]))]
            tags.append({"x": at[0], "y": at[1], "text": f"{level:g} min"})
    if not rows:
        return []
    drawn = (
        chart_of(rows)
        .mark_line(color=colours.muted, strokeWidth=1.1, strokeDash=[5, 3], clip=True,
                   aria=False)
        .encode(x=_x(data), y=_y(data), detail="line:N", order="order:O")
    )
    base = chart_of(tags).encode(x=_x(data), y=_y(data), text="text:N")
    halo = base.mark_text(fontSize=12, stroke=colours.paper, strokeWidth=5, strokeJoin="round",
                          aria=False)
    return [drawn, halo, base.mark_text(fontSize=12, color=colours.ink, aria=False)]


def _curves(data: MapData, colours: Palette) -> list[Any]:
    layers = []
    for name, line in data.curves.items():
        inside = [(a, b) for a, b in line
                  if data.x[0] <= a <= data.x[-1] and data.y[0] <= b <= data.y[-1]]
        if len(inside) < 2:
            continue
        rows = [{"x": a, "y": b, "name": name} for a, b in inside]
        layers.append(
            chart_of(rows)
            .mark_line(color=colours.second, strokeWidth=2, clip=True, aria=False)
            .encode(x=_x(data), y=_y(data))
        )
        at = inside[len(inside) // 2]
        text = chart_of([{"x": at[0], "y": at[1], "text": name}]).encode(
            x=_x(data), y=_y(data), text="text:N"
        )
        layers += [
            text.mark_text(fontSize=12, dy=-10, stroke=colours.paper, strokeWidth=5, aria=False),
            text.mark_text(fontSize=12, dy=-10, color=colours.second, aria=False),
        ]
    return layers


def _names(data: MapData, x: Any, y: Any, colours: Palette) -> list[Any]:
    """A label in the middle of each region, where it is widest."""
    labels = []
    for region in data.regions:
        values = _fine(region.values)
        place = _roomiest(np.nan_to_num(values, nan=-1e9) >= region.level)
        if place is None:
            continue
        j, i, wide = place
        strong = region.kind == "kept"
        name = region.name
        labels.append({"x": float(x[i]), "y": float(y[j]), "text": _wrapped(name, wide),
                       "weight": "bold" if strong else "normal"})
    if not labels:
        return []
    base = chart_of(labels).encode(x=_x(data), y=_y(data), text="text:N")
    style: dict[str, Any] = {"fontSize": 13, "lineBreak": "\n", "fontWeight": 600, "aria": False}
    return [
        base.mark_text(stroke=colours.paper, strokeWidth=6, strokeJoin="round",
                       strokeOpacity=0.85, **style),
        base.mark_text(color=colours.ink, **style),
    ]


def _wrapped(name: str, share: float) -> str:
    """Two lines when the region is narrow."""
    if share > 0.35 or " " not in name:
        return name
    words = name.split()
    half = max(range(1, len(words)), key=lambda k: -abs(
        len(" ".join(words[:k])) - len(" ".join(words[k:]))
    ))
    return f"{' '.join(words[:half])}\n{' '.join(words[half:])}"


def _roomiest(inside: Any) -> tuple[int, int, float] | None:
    """Row, column and relative width of the place with most room around it."""
    height, width = inside.shape
    if inside.mean() < 0.012:
        return None
    best, found = 0.0, None
    for j in range(0, height, 2):
        row = inside[j]
        start = None
        for i in range(width + 1):
            on = i < width and row[i]
            if on and start is None:
                start = i
            if not on and start is not None:
                middle = (start + i - 1) // 2
                column = inside[:, middle]
                up = down = j
                while up > 0 and column[up - 1]:
                    up -= 1
                while down < height - 1 and column[down + 1]:
                    down += 1
                room = min((i - start) / width, 1.0) * min(min(j - up, down - j) + 1, 12) ** 0.7
                if room > best:
                    best, found = room, (j, middle, (i - start) / width)
                start = None
    return found


KINDS = {
    "trial": ("circle", "trial run"), "pending": ("square", "trial to run"),
    "today": ("diamond", "method in use"), "recommended": ("triangle-up", "recommended"),
}


def _marks(data: MapData, colours: Palette) -> list[Any]:
    inside = [m for m in data.marks if math.isfinite(m.x) and math.isfinite(m.y) and m.y > 0]
    if not inside:
        return []
    rows = [{"x": m.x, "y": m.y, "label": m.label, "kind": KINDS[m.kind][1]} for m in inside]
    kinds = [k for k in KINDS if any(m.kind == k for m in inside)]
    fills = {"trial": colours.ink, "pending": colours.paper, "today": colours.second,
             "recommended": colours.main}
    names = [KINDS[k][1] for k in kinds]
    base = chart_of(rows).encode(x=_x(data), y=_y(data))
    points = base.mark_point(size=130, filled=True, stroke=colours.ink, strokeWidth=1.6,
                             opacity=1.0, clip=True).encode(
        shape=alt.Shape("kind:N", title=None,
                        scale=alt.Scale(domain=names, range=[KINDS[k][0] for k in kinds])),
        fill=alt.Fill("kind:N", title=None,
                      scale=alt.Scale(domain=names, range=[fills[k] for k in kinds])),
        tooltip=[alt.Tooltip("label:N", title="Setting")],
        description=alt.Description("label:N"),
    )
    short = base.mark_text(fontSize=12, dx=9, dy=-9, align="left", color=colours.ink,
                           stroke=None, aria=False, clip=True).encode(
        text=alt.Text("label:N"),
    ).transform_calculate(label="split(datum.label, ':')[0]")
    return [points, short]


def _empty(data: MapData) -> Any:
    corner = [{"x": data.x[0], "y": data.y[0]}]
    return chart_of(corner).mark_point(opacity=0).encode(x=_x(data), y=_y(data))
