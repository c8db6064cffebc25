"""A predicted run against time: pressure, liquid temperature, volume, condenser load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from wizard.charts.palette import PLAIN_LABEL, Palette, chart_of, dressed, outlined

MOST_POINTS = 400
LABELS = 46
"""Room left of each panel for its axis, so that the panels stand in line."""


def run_trace(
    time_min: Sequence[float],
    panels: Mapping[str, Sequence[float | None]],
    colours: Palette,
    events: Mapping[str, float] | None = None,
) -> list[Any]:
    """One chart a quantity, all over the same time, with moments of the run marked.

    They are charts of their own because only a single view fits itself to a narrow window.

    Parameters
    ----------
    time_min : [T] min
    panels : title with unit -> [T] values, None where there is none
    colours : of the page
    events : what happens -> when, min
    """
    every = max(1, len(time_min) // MOST_POINTS)
    first, end = (min(0.0, time_min[0]), time_min[-1]) if len(time_min) else (0.0, 1.0)
    hues = (colours.main, colours.third, colours.second, colours.series[3])
    charts = []
    for n, (title, values) in enumerate(panels.items()):
        last = n == len(panels) - 1
        rows = [
            {"t": float(t), "v": v}
            for t, v in list(zip(time_min, values, strict=True))[::every] if v is not None
        ]
        x = alt.X("t:Q", title="time, min" if last else None,
                  scale=alt.Scale(domain=[float(first), float(end)], nice=False),
                  axis=alt.Axis(labels=last, ticks=last, tickMinStep=1))
        y = alt.Y("v:Q", title=None, scale=alt.Scale(domain=_domain(rows), nice=False),
                  axis=alt.Axis(tickCount=3, labelExpr=PLAIN_LABEL, minExtent=LABELS,
                                maxExtent=LABELS))
        layers = [
            chart_of(rows).mark_line(
                color=hues[n % len(hues)], strokeWidth=2.4, clip=True,
                description=f"{title} against time",
            ).encode(x=x, y=y)
        ]
        layers += _events(events or {}, x, 0.5 * (first + end), colours, is_first=n == 0)
        drawn = alt.layer(*layers).properties(
            width="container", height=176 if last else 138,
            title=alt.Title(title, fontSize=13, offset=4, color=colours.ink, frame="group"),
        )
        charts.append(dressed(drawn, colours))
    return charts


def _domain(rows: Sequence[Mapping[str, float]]) -> list[float]:
    """From zero where the values come near it, with room above (and below) the line."""
    values = [row["v"] for row in rows] or [0.0]
    low, high = min(values), max(values)
    room = 0.07 * ((high - low) or 1.0)
    return [0.0 if 0.0 <= low < 0.3 * high else low - room, high + room]


def _events(
    events: Mapping[str, float], x: alt.X, middle: float, colours: Palette, is_first: bool
) -> list[Any]:
    """A line where each event is; its words towards the middle, so that they are not cut."""
    if not events:
        return []
    rows = [{"t": t, "text": name, "at": 15 * n} for n, (name, t) in enumerate(events.items())]
    base = chart_of(rows).encode(x=x)
    layers = [base.mark_rule(color=colours.muted, strokeDash=[3, 3], aria=False)]
    if is_first:
        words = base.encode(y=alt.Y("at:Q", scale=None, axis=None), text="text:N")
        style: dict[str, Any] = {"dy": 8, "baseline": "top", "fontSize": 12, "aria": False}
        for side, dx, where in (("left", 4, "<"), ("right", -4, ">=")):
            layers += outlined(words.transform_filter(f"datum.t {where} {middle}"), colours, 4,
                               colour=colours.muted, align=side, dx=dx, **style)
    return layers
