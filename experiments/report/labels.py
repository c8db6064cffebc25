"""Placing short labels beside points so that they do not lie on each other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import altair as alt

from experiments.report.look import INK, rows

WIDTH, HEIGHT = 13.0, 8.0
"""Room a label such as "T12" takes, in points."""
PLACES: dict[str, tuple[float, float, str]] = {
    "above": (0.0, -9.0, "center"), "right": (6.0, 0.5, "left"), "below": (0.0, 10.0, "center"),
    "left": (-6.0, 0.5, "right"), "above right": (5.0, -7.0, "left"),
    "below right": (5.0, 8.0, "left"), "above left": (-5.0, -7.0, "right"),
    "below left": (-5.0, 8.0, "right"),
}
"""Offset of the label and the side of it that touches the point."""


Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def choose_places(points: Sequence[tuple[float, float]], frame: Box | None = None) -> list[str]:
    """For each point, in points of the chart, the place where its label overlaps least.

    A label that leaves the frame counts as lying on what is outside.
    """
    boxes: list[Box] = []
    chosen = []
    marks = [(x - 4, y - 4, x + 4, y + 4) for x, y in points]
    for i, (x, y) in enumerate(points):
        others = marks[:i] + marks[i + 1 :] + boxes
        best = min(PLACES, key=lambda p: _outside(_box(x, y, p), frame) + sum(
            _overlap(_box(x, y, p), o) for o in others))
        chosen.append(best)
        boxes.append(_box(x, y, best))
    return chosen


def _outside(box: Box, frame: Box | None) -> float:
    """Area of a label outside the frame."""
    return 0.0 if frame is None else WIDTH * HEIGHT - _overlap(box, frame)


def _box(x: float, y: float, place: str) -> Box:
    dx, dy, side = PLACES[place]
    left = {"left": 0.0, "center": -0.5 * WIDTH, "right": -WIDTH}[side]
    return (x + dx + left, y + dy - 0.5 * HEIGHT, x + dx + left + WIDTH, y + dy + 0.5 * HEIGHT)


def _overlap(a: Box, b: Box) -> float:
    wide = min(a[2], b[2]) - max(a[0], b[0])
    high = min(a[3], b[3]) - max(a[1], b[1])
    return max(wide, 0.0) * max(high, 0.0)


def label_layers(
    data: Sequence[dict[str, Any]], encode: Callable[[Any], Any], text: str, size: float = 8.5
) -> list[Any]:
    """One layer for each place in use; rows carry it as ``place``."""
    layers = []
    for place, (dx, dy, side) in PLACES.items():
        own = [d for d in data if d["place"] == place]
        if own:
            mark = rows(own).mark_text(
                dx=dx, dy=dy, align=side, baseline="middle", fontSize=size, color=INK)
            layers.append(encode(mark).encode(text=alt.Text(f"{text}:N")))
    return layers
