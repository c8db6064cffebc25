"""Names of the regions of the operating map, each where there is most room for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from wizard.charts.map_data import MapData, drawn, x_axis, y_axis
from wizard.charts.palette import Palette, chart_of


def name_layers(
    data: MapData, axes: tuple[Any, Any], colours: Palette, tags: Sequence[tuple[float, float]]
) -> list[Any]:
    """A label in the middle of each region, where it is widest."""
    x, y = axes
    labels = []
    is_kept = any(r.kind == "kept" and np.nanmax(np.asarray(r.values)) >= r.level
                  for r in data.regions)
    hidden = {"before", "even"} if is_kept else {"before"}
    for region in (r for r in data.regions if r.kind not in hidden):
        values = drawn(data, region.values)
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
    base = chart_of(labels).encode(x=x_axis(data), y=y_axis(data), text="text:N")
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
