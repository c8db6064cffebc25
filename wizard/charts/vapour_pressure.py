"""Vapour pressure against temperature."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from wizard.charts.palette import PLAIN_LABEL, Palette, chart_of, dressed


def vapour_pressure_chart(
    rows: Sequence[dict[str, float]], units: tuple[str, str], mark: tuple[float, float] | None,
    colours: Palette,
) -> Any:
    """The curve ``t`` against ``p`` in the units given, with one point on it."""
    x = alt.X("t:Q", title=f"temperature, {units[0]}", scale=alt.Scale(zero=False, nice=False))
    y = alt.Y("p:Q", title=f"vapour pressure, {units[1]}", scale=alt.Scale(type="log"),
              axis=alt.Axis(tickCount=6, labelExpr=PLAIN_LABEL))
    layers = [chart_of(rows).mark_line(color=colours.main, strokeWidth=2.5).encode(x=x, y=y)]
    if mark is not None:
        layers.append(chart_of([{"t": mark[0], "p": mark[1]}]).mark_point(
            size=120, filled=True, color=colours.second, stroke=colours.ink, opacity=1
        ).encode(x=x, y=y))
    return dressed(alt.layer(*layers).properties(width="container", height=320), colours)
