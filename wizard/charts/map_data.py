"""What the operating map shows, in the reader's units, and its two axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np

from wizard.charts.contours import nice_levels, refine, refine_axis
from wizard.charts.palette import PLAIN_LABEL


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

    ``x`` [X] set temperatures and ``y`` [Y] end pressures, rising; grids are [Y, X]. No
    contour of run time is drawn where ``timeless`` holds.
    """

    x: Sequence[float]
    y: Sequence[float]
    x_title: str
    y_title: str
    run_time: Sequence[Sequence[float]]
    regions: Sequence[MapRegion] = ()
    marks: Sequence[MapMark] = ()
    timeless: MapRegion | None = None


EDGE = 0.025
"""Room around the window, as a share of it, so that settings on its border are seen."""


def inside(marks: Sequence[MapMark], x: Sequence[float], y: Sequence[float]) -> list[MapMark]:
    """The marks that lie on a map of these set temperatures and end pressures."""
    across, up = EDGE * (x[-1] - x[0]), (y[-1] / y[0]) ** EDGE
    return [m for m in marks if x[0] - across <= m.x <= x[-1] + across
            and y[0] / up <= m.y <= y[-1] * up]


def domains(data: MapData) -> tuple[tuple[float, float], tuple[float, float]]:
    """Ends of the axes, across and up."""
    (x0, x1), (y0, y1) = (data.x[0], data.x[-1]), (data.y[0], data.y[-1])
    room, share = EDGE * (x1 - x0), (y1 / y0) ** EDGE
    return (float(x0 - room), float(x1 + room)), (float(y0 / share), float(y1 * share))


def x_axis(data: MapData, name: str = "x:Q") -> alt.X:
    """Set temperature."""
    return alt.X(name, title=data.x_title, axis=alt.Axis(tickCount=8),
                 scale=alt.Scale(domain=list(domains(data)[0]), nice=False, zero=False))


def y_axis(data: MapData, name: str = "y:Q") -> alt.Y:
    """End pressure, by ratio."""
    low, high = float(data.y[0]), float(data.y[-1])
    ticks = [v for v in (1, 2, 3, 5, 10, 20, 30, 50, 100, 200, 300, 500, 1000)
             if low <= v <= high] or nice_levels(low, high)
    return alt.Y(name, title=data.y_title, axis=alt.Axis(values=ticks, labelExpr=PLAIN_LABEL),
                 scale=alt.Scale(type="log", domain=list(domains(data)[1]), nice=False))


STEPS_X, STEPS_Y = 96, 90
"""About so many steps are drawn across and up the map, however fine the grid is."""


def drawn_axes(data: MapData) -> tuple[Any, Any]:
    """Places across and up the map at which it is drawn."""
    across, up = _factors(data)
    return refine_axis(data.x, across), np.exp(
        refine_axis(np.log(np.asarray(data.y, dtype=float)).tolist(), up))


def drawn(data: MapData, values: Any) -> Any:
    """A grid of the map at the places where it is drawn."""
    return refine(values, *_factors(data))


def _factors(data: MapData) -> tuple[int, int]:
    return (max(1, round(STEPS_X / (len(data.x) - 1))), max(1, round(STEPS_Y / (len(data.y) - 1))))
