"""Labels beside the points of a chart, each where it covers no point and no other label."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from wizard.charts.palette import NARROW_PX, Palette, chart_of, outlined

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""
PLACES = ((10, -10, "left"), (-10, -10, "right"), (10, 11, "left"), (-10, 11, "right"),
          (0, -16, "center"), (0, 17, "center"), (13, 0, "left"), (-13, 0, "right"),
          (14, -24, "left"), (-14, -24, "right"), (14, 25, "left"), (-14, 25, "right"),
          (0, -30, "center"), (0, 31, "center"))
"""Offsets in px of a label from its point, the usual one first and far ones last."""
FAR = 20
"""A label as far above or below its point, px, is joined to it by a line."""
FAR_ONLY = f"abs({{}}) > {FAR} ? 1 : 0"
WIDTHS = {"wide": 820.0, "narrow": 290.0}
"""Of the plot in a wide and in a narrow window, px; labels have places of their own in each."""
LETTER, LINE, POINT = 7.0, 16.0, 7.0
"""Width of a letter, height of a line with the gap to the next, and half a point, px."""
ROUNDS = 2
PLOT = 0.74
"""Share of a chart's height that its plot takes, above axis and legend."""


@dataclass(frozen=True)
class Spot:
    """A point with its label, in shares of the plot from the left and from the top."""

    x: float
    y: float
    text: str


def label_layers(
    rows: Sequence[Mapping[str, Any]], axes: tuple[alt.X, alt.Y], texts: tuple[str, str],
    spots: Sequence[Spot], height: float, lines: Sequence[Box], colours: Palette,
) -> list[Any]:
    """Text layers whose labels have one place in a wide and another in a narrow window.

    Parameters
    ----------
    rows : what the points are drawn from
    axes : as the points have them
    texts : names of the fields that hold the label and its weight ("bold" or "normal")
    spots, height, lines : as in :func:`placed`
    """
    text, weight = texts
    wide, narrow = (placed(spots, height, shape, lines) for shape in WIDTHS)
    data = [
        {**row, "wx": w[0], "wy": w[1], "wa": w[2], "nx": n[0], "ny": n[1], "na": n[2]}
        for row, w, n in zip(rows, wide, narrow, strict=True)
    ]
    base = chart_of(data).encode(x=axes[0], y=axes[1])
    style: dict[str, Any] = {
        "fontSize": 12, "aria": False, "dx": _either("x"), "dy": _either("y"),
        "align": _either("a"), "fontWeight": alt.expr(f"datum.{weight}"),
    }
    layers = outlined(base.encode(text=f"{text}:N"), colours, 4, **style)
    if any(abs(row[up]) > FAR for row in data for up in ("wy", "ny")):
        line = base.mark_rule(
            color=colours.muted, strokeWidth=1, aria=False,
            opacity=_either("y", FAR_ONLY),
            xOffset=_either("x", "0.35 * {}"), yOffset=_either("y", "0.35 * {}"),
            x2Offset=_either("x"), y2Offset=_either("y", "0.75 * {}"),
        ).encode(x2=axes[0].shorthand, y2=axes[1].shorthand)
        layers.insert(0, line)
    return layers


def _either(field: str, of: str = "{}") -> Any:
    """An expression of a field of the narrow place in a narrow window, else of the wide one."""
    wide, narrow = of.format(f"datum.w{field}"), of.format(f"datum.n{field}")
    return alt.expr(f"width < {NARROW_PX} ? ({narrow}) : ({wide})")


def placed(
    spots: Sequence[Spot], height: float, shape: str, lines: Sequence[Box] = ()
) -> list[tuple[int, int, str]]:
    """The offset and alignment of each label.

    Parameters
    ----------
    spots : the points with their labels
    height : of the plot, px
    shape : "wide" or "narrow", the window
    lines : what else should rather not be covered, as boxes in shares of the plot
    """
    chosen = [0] * len(spots)
    size = (WIDTHS[shape], height)
    for _ in range(ROUNDS):
        for n in range(len(spots)):
            costs = [_cost(spots, chosen, n, k, size, lines) for k in range(len(PLACES))]
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
    others = [(m, spot) for m, spot in enumerate(spots) if m != n]
    cost += sum(3.0 * _overlap(own, _label(spot, chosen[m], size)) for m, spot in others)
    if abs(PLACES[k][1]) > FAR:
        way = _way(spots[n], k, size)
        cost += sum(_overlap(way, _point(spot, size)) for _, spot in others)
    return cost + sum(
        _overlap(own, (a * size[0] - 1, b * size[1] - 1, c * size[0] + 1, d * size[1] + 1))
        for a, b, c, d in lines)


def _label(spot: Spot, k: int, size: tuple[float, float]) -> Box:
    dx, dy, align = PLACES[k]
    wide = LETTER * len(spot.text)
    left = spot.x * size[0] + dx - {"left": 0.0, "center": 0.5, "right": 1.0}[align] * wide
    middle = spot.y * size[1] + dy
    return left, middle - LINE / 2, left + wide, middle + LINE / 2


def _way(spot: Spot, k: int, size: tuple[float, float]) -> Box:
    """Where the line to a label runs."""
    (x, y), (dx, dy, _) = (spot.x * size[0], spot.y * size[1]), PLACES[k]
    return min(x, x + dx) - 1, min(y, y + dy), max(x, x + dx) + 1, max(y, y + dy)


def _point(spot: Spot, size: tuple[float, float]) -> Box:
    x, y = spot.x * size[0], spot.y * size[1]
    return x - POINT, y - POINT, x + POINT, y + POINT


def _overlap(one: Box, other: Box) -> float:
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return max(across, 0.0) * max(down, 0.0)


def _outside(box: Box, size: tuple[float, float]) -> float:
    """How far a label reaches over the border, px."""
    across = max(-box[0], 0.0) + max(box[2] - size[0], 0.0)
    return across + max(-box[1], 0.0) + max(box[3] - size[1], 0.0)
