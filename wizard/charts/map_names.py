"""Names of the regions of the operating map, each where it covers no mark and no other name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt
import numpy as np
from scipy import ndimage

from wizard.charts.map_data import MapData, drawn, x_axis, y_axis
from wizard.charts.palette import NARROW_PX, Palette, chart_of, outlined

LINE = 0.056
"""Height of a line as a share of the map."""
LETTER = {"wide": 0.0115, "narrow": 0.032}
"""Width of a letter as a share of the map."""
MARK = {"wide": (0.016, 0.03), "narrow": (0.04, 0.03)}
"""Half the width and height that a mark takes."""
INSIDE = {"kept": 0.995}
USUALLY_INSIDE = 0.6
"""Share of a name that must lie in its region, else it goes outside with a line."""
FARTHEST = 36
"""Steps of the drawn map that such a line may cross."""
LEAST_SHARE = 0.006
"""Smaller regions are not named."""


def name_layers(
    data: MapData, axes: tuple[Any, Any], colours: Palette,
    tags: Sequence[tuple[float, float, str]],
    mark_labels: Mapping[str, Sequence[tuple[float, float, str]]],
) -> list[Any]:
    """The names, and a thin line to the region of a name that finds no room inside it.

    Parameters
    ----------
    axes : places across and up the map at which it is drawn
    tags : place and text of the labels of contours
    mark_labels : middle and text of the labels of marks, on a wide and on a narrow map
    """
    return [
        layer for shape in LETTER
        for layer in _layers(data, colours, shape, *placed_names(data, axes, shape, tags,
                                                                 mark_labels[shape]))
    ]


def _layers(
    data: MapData, colours: Palette, shape: str, labels: list[dict[str, Any]],
    leaders: list[dict[str, float]],
) -> list[Any]:
    """The names for a wide or a narrow map; the browser shows those that fit its width."""
    shown = alt.expr(f"width {'<' if shape == 'narrow' else '>='} {NARROW_PX} ? 1 : 0")
    layers = []
    if leaders:
        layers.append(
            chart_of(leaders)
            .mark_rule(color=colours.ink, strokeWidth=1.2, aria=False, opacity=shown)
            .encode(x=x_axis(data), y=y_axis(data), x2="x2:Q", y2="y2:Q"))
    if labels:
        base = chart_of(labels).encode(x=x_axis(data), y=y_axis(data), text="text:N")
        style: dict[str, Any] = {"fontSize": 13, "lineBreak": "\n", "fontWeight": 600,
                                 "aria": False, "opacity": shown}
        layers += outlined(base, colours, 6, outline_opacity=0.85, **style)
    return layers


def _even(axes: tuple[Any, Any]) -> tuple[Any, Any]:
    """Places with equal steps across and up: the map itself may be finer around a setting."""
    x, y = axes
    return np.linspace(x[0], x[-1], len(x)), np.geomspace(y[0], y[-1], len(y))


def _board(
    data: MapData, axes: tuple[Any, Any], shape: str,
    tags: Sequence[tuple[float, float, str]], mark_labels: Sequence[tuple[float, float, str]],
) -> _Board:
    """A board of equal steps with the marks and their labels, and the labels of the contours."""
    x, y = axes
    board = _Board((len(y), len(x)))
    for mark in data.marks:
        if mark.y > 0:
            board.block(*_cell(mark.x, mark.y, x, y), MARK[shape])
    for across, up, text in (*tags, *mark_labels):
        board.block(*_cell(across, up, x, y), _half(text, shape))
    return board


def placed_names(
    data: MapData, axes: tuple[Any, Any], shape: str,
    tags: Sequence[tuple[float, float, str]], mark_labels: Sequence[tuple[float, float, str]],
) -> tuple[list[dict[str, Any]], list[dict[str, float]]]:
    """The names with their places, the most important first, and their lines.

    ``shape`` is "wide" or "narrow"; the rest as in :func:`name_layers`.
    """
    x, y = even = _even(axes)
    board = _board(data, even, shape, tags, mark_labels)
    is_kept = any(r.kind == "kept" and np.nanmax(np.asarray(r.values)) >= r.level
                  for r in data.regions)
    hidden = {"before", "even"} if is_kept else {"before"}
    regions = sorted((r for r in data.regions if r.kind not in hidden),
                     key=lambda r: r.kind != "kept")
    nearest = np.ix_(np.rint(np.interp(np.log(y), np.log(axes[1]), range(len(y)))).astype(int),
                     np.rint(np.interp(x, axes[0], range(len(x)))).astype(int))
    grounds = [(np.nan_to_num(drawn(data, r.values), nan=-1e9) >= r.level)[nearest]
               for r in regions]
    labels, leaders = [], []
    for n, (region, inside) in enumerate(zip(regions, grounds, strict=True)):
        if inside.mean() < LEAST_SHARE:
            continue
        text = _wrapped(region.name)
        seen = inside & ~np.any([np.zeros_like(inside), *(
            g for k, g in enumerate(grounds) if k > n and regions[k].kind == "closed")], axis=0)
        if seen.mean() >= LEAST_SHARE:  # a name on another's shade would be read as of that
            inside = seen
        others = [g for k, g in enumerate(grounds) if k != n and regions[k].kind != "even"]
        place = board.room_for(inside, np.any([np.zeros_like(inside), *others], axis=0),
                               _half(text, shape), INSIDE.get(region.kind, USUALLY_INSIDE))
        if place is None:
            continue
        (j, i), end = place
        labels.append({"x": float(x[i]), "y": float(y[j]), "text": text})
        board.block(j, i, _half(text, shape))
        if end is not None:
            leaders.append({"x": float(x[i]), "y": float(y[j]),
                            "x2": float(x[end[1]]), "y2": float(y[end[0]])})
    return labels, leaders


@dataclass
class _Board:
    """What of the map is taken by marks and words already; rows and columns as it is drawn."""

    shape: tuple[int, int]
    taken: Any = field(init=False)

    def __post_init__(self) -> None:
        self.taken = np.zeros(self.shape, dtype=bool)

    def block(self, row: float, column: float, half: tuple[float, float]) -> None:
        """Take a box around a place."""
        wide, high = half[0] * self.shape[1], half[1] * self.shape[0]
        rows = slice(max(0, round(row - high)), max(0, round(row + high) + 1))
        columns = slice(max(0, round(column - wide)), max(0, round(column + wide) + 1))
        self.taken[rows, columns] = True

    def room_for(
        self, inside: Any, others: Any, half: tuple[float, float], least: float
    ) -> tuple[tuple[int, int], tuple[int, int] | None] | None:
        """Where a name of that size goes, and the end of its line where it lies outside.

        Inside the region if there is room for at least that share of it, else beside it, as
        near as can be and not in any of the others.
        """
        size = tuple(2 * max(1, round(share * n)) + 1
                     for share, n in zip(reversed(half), self.shape, strict=True))
        free = ~ndimage.maximum_filter(self.taken, size=size, mode="constant", cval=True)
        share = ndimage.uniform_filter(inside.astype(float), size=size, mode="constant")
        depth = ndimage.distance_transform_edt(np.pad(inside, 1))[1:-1, 1:-1]
        away, nearest = ndimage.distance_transform_edt(~inside, return_indices=True)
        fits = free & inside & (share > least)
        clear = ~ndimage.maximum_filter(inside | others, size=size)
        beside = free & clear & (away < FARTHEST)
        if not (fits | beside).any():
            return None
        score = np.where(fits, 50.0 * share + depth, np.where(beside, -away, -np.inf))
        j, i = np.unravel_index(int(np.argmax(score)), self.shape)
        if inside[j, i]:
            return (int(j), int(i)), None
        return (int(j), int(i)), (int(nearest[0][j, i]), int(nearest[1][j, i]))


def _cell(across: float, up: float, x: Any, y: Any) -> tuple[float, float]:
    """Row and column of a place."""
    return (float(np.interp(np.log(up), np.log(y), np.arange(len(y)))),
            float(np.interp(across, x, np.arange(len(x)))))


def _half(text: str, shape: str) -> tuple[float, float]:
    """Half the width and height of a text, as shares of the map."""
    lines = text.split("\n")
    return 0.5 * LETTER[shape] * max(map(len, lines)), 0.5 * LINE * len(lines)


def _wrapped(name: str) -> str:
    """Two lines of about the same length, where a name is long."""
    words = name.split()
    if len(name) < 16 or len(words) < 2:
        return name
    half = min(range(1, len(words)), key=lambda k: abs(
        len(" ".join(words[:k])) - len(" ".join(words[k:]))))
    return f"{' '.join(words[:half])}\n{' '.join(words[half:])}"
