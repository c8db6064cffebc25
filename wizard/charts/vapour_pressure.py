"""Vapour pressure against temperature."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from wizard.charts.palette import PLAIN_LABEL, Palette, chart_of, dressed


def vapour_pressure_chart(
    rows: Sequence[dict[str, float]], units: tuple[str, str], mark: tuple[float, float] | None,
    colours: Palette, data: Sequence[dict[str, float | str]] = (),
) -> Any:
    """The curve ``t`` against ``p`` in the units given, the data behind it, and one point."""
    x = alt.X("t:Q", title=f"temperature, {units[0]}", scale=alt.Scale(zero=False, nice=False))
    values = [r["p"] for r in rows]
    decades = [10.0**k for k in range(-9, 9)]
    ticks = [d for d in decades if min(values) / 10 < d < 10 * max(values)]
    y = alt.Y("p:Q", title=f"vapour pressure, {units[1]}", scale=alt.Scale(type="log"),
              axis=alt.Axis(values=ticks, labelExpr=PLAIN_LABEL))
    layers = [chart_of(rows).mark_line(color=colours.main, strokeWidth=2.5).encode(x=x, y=y)]
    if data:
        layers.append(chart_of(data).mark_point(
            size=40, shape="circle", color=colours.muted, opacity=0.9
        ).encode(x=x, y=y, tooltip=[alt.Tooltip("source:N", title="source"),
                                    alt.Tooltip("t:Q", format=".1f", title=f"T, {units[0]}"),
                                    alt.Tooltip("p:Q", format=".4g", title=f"p, {units[1]}")]))
    if mark is not None:
        layers.append(chart_of([{"t": mark[0], "p": mark[1]}]).mark_point(
            size=120, filled=True, color=colours.second, stroke=colours.ink, opacity=1
        ).encode(x=x, y=y))
    return dressed(alt.layer(*layers).properties(width="container", height=320), colours)
