"""Labels beside the points of a chart, each where it covers no point and no other label."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from wizard.charts.palette import Palette, chart_of, outlined

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""
PLACES = ((10, -10, "left"), (-10, -10, "right"), (10, 11, "left"), (-10, 11, "right"),
          (0, -16, "center"), (0, 17, "center"), (13, 0, "left"), (-13, 0, "right"))
"""Offsets in px of a label from its point, the usual one first."""
WIDTHS = (820.0, 290.0)
"""Of the plot in a wide and in a narrow window, px; a label has the same offset in both."""
LETTER, LINE, POINT = 7.0, 14.0, 7.0
"""Width of a letter, height of a line and half a point, px."""
ROUNDS = 2


@dataclass(frozen=True)
class Spot:
    """A point with its label, in shares of the plot from the left and from the top."""

    x: float
    y: float
    text: str


def label_layers(
    rows: Sequence[Mapping[str, Any]], axes: tuple[alt.X, alt.Y], texts: tuple[str, str],
    spots: Sequence[tuple[int, int, str]], colours: Palette,
) -> list[Any]:
    """Text layers that put the labels where :func:`placed` says.

    Parameters
    ----------
    rows : what the points are drawn from
    axes : as the points have them
    texts : names of the fields that hold the label and its weight ("bold" or "normal")
    """
    text, weight = texts
    data = [{**row, "dx": dx, "dy": dy, "align": align}
            for row, (dx, dy, align) in zip(rows, spots, strict=True)]
    base = chart_of(data).encode(x=axes[0], y=axes[1], text=f"{text}:N")
    style: dict[str, Any] = {
        "fontSize": 12, "aria": False, "dx": alt.expr("datum.dx"), "dy": alt.expr("datum.dy"),
        "align": alt.expr("datum.align"), "fontWeight": alt.expr(f"datum.{weight}"),
    }
    return outlined(base, colours, 4, **style)


def placed(
    spots: Sequence[Spot], height: float, lines: Sequence[Box] = ()
) -> list[tuple[int, int, str]]:
    """The offset and alignment of each label.

    Parameters
    ----------
    spots : the points with their labels
    height : of the plot, px
    lines : what else should rather not be covered, as boxes in shares of the plot
    """
    chosen = [0] * len(spots)
    for _ in range(ROUNDS):
        for n in range(len(spots)):
            costs = [
                sum(_cost(spots, chosen, n, k, (width, height), lines) for width in WIDTHS)
                for k in range(len(PLACES))
            ]
            chosen[n] = costs.index(min(costs))
    return [PLACES[k] for k in chosen]


def _cost(
    spots: Sequence[Spot], chosen: Sequence[int], n: int, k: int, size: tuple[float, float],
    lines: Sequence[Box],
) -> float:
    """How much a label at one of its places covers; px² with points and labels counted most."""
    own = _label(spots[n], k, size)
    cost = 4.0 * k + 20.0 * _outside(own, size)
    cost += sum(3.0 * _overlap(own, _point(spot, size)) for spot in spots)
    cost += sum(3.0 * _overlap(own, _label(spot, chosen[m], size))
                for m, spot in enumerate(spots) if m != n)
    return cost + sum(
        _overlap(own, (a * size[0] - 1, b * size[1] - 1, c * size[0] + 1, d * size[1] + 1))
        for a, b, c, d in lines)


def _label(spot: Spot, k: int, size: tuple[float, float]) -> Box:
    dx, dy, align = PLACES[k]
    wide = LETTER * len(spot.text)
    left = spot.x * size[0] + dx - {"left": 0.0, "center": 0.5, "right": 1.0}[align] * wide
    middle = spot.y * size[1] + dy
    return left, middle - LINE / 2, left + wide, middle + LINE / 2


def _point(spot: Spot, size: tuple[float, float]) -> Box:
    x, y = spot.x * size[0], spot.y * size[1]
    return x - POINT, y - POINT, x + POINT, y + POINT


def _overlap(one: Box, other: Box) -> float:
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return max(across, 0.0) * max(down, 0.0)


def _outside(box: Box, size: tuple[float, float]) -> float:
    """How far a label reaches over the border, px."""
    return max(-box[0], 0.0) + max(box[2] - size[0], 0.0) + max(-box[1], 0.0)
