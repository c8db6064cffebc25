"""Observed recoveries against the forecast from all other runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from wizard.charts.palette import Palette, chart_of, colour_scale, dressed, shape_scale


@dataclass(frozen=True)
class FitRow:
    """One reading with the forecast of the other runs for it, percent."""

    trial: str
    analyte: str
    predicted: float
    low: float
    high: float
    observed: float


def fit_quality(rows: Sequence[FitRow], colours: Palette, height: int = 340) -> Any:
    """Forecast on the abscissa with its interval, observation on the ordinate."""
    data = [
        {"predicted": r.predicted, "low": r.low, "high": r.high, "observed": r.observed,
         "analyte": r.analyte, "label": r.trial,
         "said": f"{r.trial}, {r.analyte}: forecast {r.predicted:.0f} %, read {r.observed:.0f} %"}
        for r in rows
    ]
    names = list(dict.fromkeys(r.analyte for r in rows))
    ends = [v for r in rows for v in (r.low, r.high, r.observed)]
    domain = [max(0.0, min(ends) - 3.0), max(ends) + 3.0]
    scale = alt.Scale(domain=domain, nice=False)
    x = alt.X("predicted:Q", title="forecast from the other runs, %", scale=scale,
              axis=alt.Axis(tickCount=8))
    y = alt.Y("observed:Q", title="observed recovery, %", scale=scale,
              axis=alt.Axis(tickCount=6))
    base = chart_of(data)
    line = chart_of([{"predicted": v, "observed": v} for v in domain]).mark_line(
        color=colours.ink, strokeDash=[5, 4], clip=True, aria=False).encode(x=x, y=y)
    bars = base.mark_rule(color=colours.muted, opacity=0.45, clip=True, aria=False).encode(
        x=alt.X("low:Q"), x2="high:Q", y=y)
    points = base.mark_point(filled=True, size=75, opacity=0.9, stroke=colours.ink,
                             strokeWidth=0.8).encode(
        x=x, y=y,
        shape=alt.Shape("analyte:N", title=None, scale=shape_scale(names)),
        fill=alt.Fill("analyte:N", title=None, scale=colour_scale(names, colours)),
        tooltip=[alt.Tooltip("said:N", title="Reading")],
        description=alt.Description("said:N"),
    )
    return dressed(alt.layer(line, bars, points).properties(width="container", height=height),
                   colours)
