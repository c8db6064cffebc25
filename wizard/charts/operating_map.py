"""The operating map: set temperature against end pressure, limits, run time, kept region."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt
import numpy as np

from wizard.charts.contours import Line, bands, lines, nice_levels, refine, refine_axis
from wizard.charts.palette import PLAIN_LABEL, Palette, chart_of, dressed

FINER_X, FINER_Y = 8, 9
"""Steps drawn in each step of the grid."""


@dataclass(frozen=True)
class MapRegion:
    """A quantity over the map whose values at or above ``level`` fill a region."""

    name: str
    values: Sequence[Sequence[float]]
    level: float
    kind: str = "closed"  # closed | kept | even | before


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
    for region in (r for r in data.regions if r.kind == "even"):
        layers += _fill(region, x, y, colours.main, 0.09, data)
    for region in (r for r in data.regions if r.kind == "kept"):
        layers += _fill(region, x, y, colours.main, 0.22, data)
        layers += _outline(region, x, y, colours, data)
    for region in (r for r in data.regions if r.kind in DASHES):
        layers += _outline(region, x, y, colours, data)
    drawn, tags = _contours(data, x, y, colours)
    layers += [*drawn, *_curves(data, colours), *_names(data, x, y, colours, tags)]
    layers += _marks(data, colours)
    if not layers:
        layers = [_empty(data)]
    return dressed(alt.layer(*layers).properties(width="container", height=height), colours)


def _fine(values: Any) -> Any:
    return refine(values, FINER_X, FINER_Y)


def _by_ratio(axis: Sequence[float], factor: int) -> Any:
    return np.exp(refine_axis(np.log(np.asarray(axis, dtype=float)), factor))


EDGE = 0.025
"""Room around the window, as a share of it, so that settings on its border are seen."""


def _x(data: MapData, name: str = "x:Q") -> alt.X:
    low, high = float(data.x[0]), float(data.x[-1])
    room = EDGE * (high - low)
    return alt.X(name, title=data.x_title, axis=alt.Axis(tickCount=8),
                 scale=alt.Scale(domain=[low - room, high + room], nice=False, zero=False))


def _y(data: MapData, name: str = "y:Q") -> alt.Y:
    low, high = float(data.y[0]), float(data.y[-1])
    room = (high / low) ** EDGE
    ticks = [v for v in (1, 2, 3, 5, 10, 20, 30, 50, 100, 200, 300, 500, 1000)
             if low <= v <= high] or nice_levels(low, high)
    return alt.Y(name, title=data.y_title, axis=alt.Axis(values=ticks, labelExpr=PLAIN_LABEL),
                 scale=alt.Scale(type="log", domain=[low / room, high * room], nice=False))


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
        .mark_rect(color=colour, opacity=opacity, stroke=colour, clip=True, aria=False,
                   strokeWidth=0.7 if opacity == 1.0 else 0)  # closes the seams of full fills
        .encode(x=_x(data), x2="x2:Q", y=_y(data), y2="y2:Q")
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
    values = _fine(region.values)
    found = _line_data(lines(x, y, np.nan_to_num(values, nan=-1.0), region.level))
    if not found:
        return []
    return [
        chart_of(found)
        .mark_line(color=colours.main, strokeWidth=1.5 if region.kind in DASHES else 2.5,
                   strokeDash=DASHES.get(region.kind, [1, 0]), clip=True, aria=False)
        .encode(x=_x(data), y=_y(data), detail="line:N", order="order:O")
    ]


def _contours(
    data: MapData, x: Any, y: Any, colours: Palette
) -> tuple[list[Any], list[tuple[float, float]]]:
    """The lines of equal run time, and the places of their labels."""
    grid = np.asarray(data.run_time, dtype=float)
    known = grid[np.isfinite(grid)]
    if known.size < 4:
        return [], []
    fine = np.exp(_fine(np.log(grid)))
    rows, tags = [], []
    spots: list[tuple[float, float]] = []
    for level in nice_levels(float(known.min()), float(known.max())):
        found = [line for line in lines(x, y, fine, level) if len(line) >= 6]
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
    drawn = (
        chart_of(rows)
        .mark_line(color=colours.muted, strokeWidth=1.1, strokeDash=[5, 3], clip=True,
                   aria=False)
        .encode(x=_x(data), y=_y(data), detail="line:N", order="order:O")
    )
    base = chart_of(tags).encode(x=_x(data), y=_y(data), text="text:N")
    halo = base.mark_text(fontSize=12, stroke=colours.paper, strokeWidth=5, strokeJoin="round",
                          aria=False)
    words = base.mark_text(fontSize=12, color=colours.ink, aria=False)
    return [drawn, halo, words], spots


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


def _names(
    data: MapData, x: Any, y: Any, colours: Palette, tags: Sequence[tuple[float, float]]
) -> list[Any]:
    """A label in the middle of each region, where it is widest."""
    labels = []
    is_kept = any(r.kind == "kept" and np.nanmax(np.asarray(r.values)) >= r.level
                  for r in data.regions)
    hidden = {"before", "even"} if is_kept else {"before"}
    for region in (r for r in data.regions if r.kind not in hidden):
        values = _fine(region.values)
        inside = np.nan_to_num(values, nan=-1e9) >= region.level
        place = _roomiest(inside, _taken(data, x, y, tags))
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


def _taken(
    data: MapData, x: Any, y: Any, tags: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Rows and columns where marks and labels of lines stand."""
    places = [*((m.x, m.y) for m in data.marks if m.y > 0), *tags]
    return [
        (float(np.interp(math.log(b), np.log(y), np.arange(len(y)))),
         float(np.interp(a, x, np.arange(len(x)))))
        for a, b in places
    ]


LABEL_ROWS = 2
"""Rows of the refined grid that half a label covers."""


def _roomiest(
    inside: Any, taken: Sequence[tuple[float, float]]
) -> tuple[int, int, float] | None:
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
                for share in (0.5, 0.42, 0.58, 0.35, 0.65, 0.28, 0.72, 0.22, 0.78):
                    at = start + int(share * (i - 1 - start))
                    wide = 2 * min(at - start, i - 1 - at) / width
                    high = _height(inside[:, at], j)
                    room = min(wide, 0.4) * high**0.7 * (1.0 if high > LABEL_ROWS else 0.1)
                    room *= _free(j / height, at / width, taken, (height, width))
                    if room > best:
                        best, found = room, (j, at, wide)
                start = None
    return found


def _height(column: Any, row: int) -> int:
    """Rows inside above and below a place, whichever is fewer, up to a limit."""
    up = down = row
    while up > 0 and column[up - 1]:
        up -= 1
    while down < len(column) - 1 and column[down + 1]:
        down += 1
    return min(row - up, down - row, 13) + 1


def _free(
    row: float, column: float, taken: Sequence[tuple[float, float]], shape: tuple[int, int]
) -> float:
    """1 where no mark stands near a label's place, less where one does."""
    near = [max(abs(row - j / shape[0]) / 0.09, abs(column - i / shape[1]) / 0.24)
            for j, i in taken]
    closest = min(near, default=1.0)
    return 1.0 if closest >= 1.0 else 0.05 + 0.3 * closest**2


KINDS = {
    "trial": ("circle", "trial run"), "pending": ("square", "trial to run"),
    "today": ("diamond", "method in use"), "recommended": ("triangle-up", "recommended"),
}


def _marks(data: MapData, colours: Palette) -> list[Any]:
    inside = [m for m in data.marks if math.isfinite(m.x) and math.isfinite(m.y) and m.y > 0]
    if not inside:
        return []
    rows = [{"x": m.x, "y": m.y, "label": m.label, "kind": KINDS[m.kind][1]} for m in inside]
    names_at = _grouped(inside, data)
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
    words = []
    for align, side in (("left", 1), ("right", -1)):
        chosen = [n for n in names_at if n["side"] == side]
        if chosen:
            words.append(
                chart_of(chosen).mark_text(
                    fontSize=12, dx=9 * side, dy=-9, align=align, color=colours.ink, aria=False,
                ).encode(x=_x(data), y=_y(data), text="text:N")
            )
    return [points, *words]


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


def _empty(data: MapData) -> Any:
    corner = [{"x": data.x[0], "y": data.y[0]}]
    return chart_of(corner).mark_point(opacity=0).encode(x=_x(data), y=_y(data))
