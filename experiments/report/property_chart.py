"""Vapour pressure of a substance against temperature, with the data behind the curve."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt

from experiments.report.look import MAIN, SECOND, TEXT_WIDTH, dressed, rows
from experiments.substance_text import in_print


def property_chart(found: Mapping[str, Any]) -> dict[str, Any]:
    """Curve and points of :func:`models.properties.describe_substance`, pressure in Pa."""
    low, high = (found["curve"][i]["temperature_c"] for i in (0, -1))
    data = [{**p, "source": in_print(p["source"])} for p in found["points"]
            if low <= p["temperature_c"] <= high]
    x = alt.X("temperature_c:Q", title="temperature, °C", scale=alt.Scale(domain=[low, high]))
    y = alt.Y("pressure_pa:Q", title="vapour pressure of the liquid, Pa",
              scale=alt.Scale(type="log"), axis=alt.Axis(format="~e", tickCount=8))
    layers = [rows(found["curve"]).mark_line(color=MAIN, strokeWidth=2).encode(x=x, y=y)]
    if data:
        layers.append(rows(data).mark_point(color=SECOND, size=30, opacity=1).encode(
            x=x, y=y, shape=alt.Shape("source:N", title=None, legend=alt.Legend(
                orient="bottom", columns=1, labelLimit=TEXT_WIDTH))))
    return dressed(alt.layer(*layers).properties(
        width=TEXT_WIDTH - 80, height=260, title=str(found["name"])))
