"""Recoveries before and after a change, analyte by analyte, beside their targets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from wizard.charts.palette import Palette, chart_of, dressed

STATES = ("now", "changed")
SHAPES = ("circle", "diamond")


@dataclass(frozen=True)
class BeforeAfter:
    """An analyte's recovery (mean, low, high) in percent before and after, and its target."""

    analyte: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    target: float


def before_after_chart(rows: Sequence[BeforeAfter], colours: Palette) -> Any:
    """Two intervals an analyte, one below the other, with its target as an upright stroke."""
    data: list[dict[str, Any]] = [
        {"name": f"{r.analyte}, {state}", "state": state, "mean": mean, "low": low, "high": high,
         "target": r.target,
         "said": f"{r.analyte}, {state}: {mean:.0f} % ({low:.0f} to {high:.0f}), "
                 f"target {r.target:g} %"}
        for r in rows for state, (mean, low, high) in zip(STATES, (r.before, r.after), strict=True)
    ]
    ends = [v for r in rows for v in (*r.before, *r.after, r.target)]
    domain = [max(0.0, min(ends, default=0.0) - 4.0), max(ends, default=100.0) + 2.0]
    scale = alt.Scale(domain=domain, nice=False)
    x = alt.X("low:Q", title="true mean recovery, %", scale=scale, axis=alt.Axis(tickCount=8))
    y = alt.Y("name:N", sort=[d["name"] for d in data], title=None,
              axis=alt.Axis(labelLimit=240, domain=False, ticks=False, labelPadding=8))
    base = chart_of(data).encode(y=y)
    layers = [
        base.mark_tick(color=colours.second, thickness=2.5, size=24, aria=False).encode(
            x=alt.X("target:Q", scale=scale)),
        base.mark_rule(color=colours.main, strokeWidth=3, aria=False).encode(x=x, x2="high:Q"),
        base.mark_point(
            size=110, filled=True, color=colours.main, stroke=colours.paper, strokeWidth=1.2,
            opacity=1).encode(
            x=alt.X("mean:Q", scale=scale),
            shape=alt.Shape("state:N", legend=None,
                            scale=alt.Scale(domain=list(STATES), range=list(SHAPES))),
            tooltip=[alt.Tooltip("said:N", title="Recovery")],
            description=alt.Description("said:N")),
    ]
    return dressed(alt.layer(*layers).properties(
        width="container", height=max(130, 34 * len(data) + 50)), colours)
