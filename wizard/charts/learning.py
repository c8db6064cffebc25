"""What was learnt: each parameter against what was assumed of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from wizard.charts.palette import PLAIN_LABEL, Palette, chart_of, dressed


@dataclass(frozen=True)
class LearntRow:
    """One parameter, relative to its assumed value: 1 is "as assumed"."""

    name: str
    before: tuple[float, float]
    low: float
    mean: float
    high: float
    said: str


def learnt_chart(rows: Sequence[LearntRow], colours: Palette) -> Any:
    """Assumed range (pale, wide) and learnt range (dark, narrow) of each parameter."""
    data: list[dict[str, Any]] = [
        {"name": _lines(r.name), "b0": _inside(r.before[0]), "b1": _inside(r.before[1]),
         "low": _inside(r.low), "mean": _inside(r.mean), "high": _inside(r.high), "said": r.said}
        for r in rows
    ]
    order = [_lines(r.name) for r in rows]
    low = min((d[end] for d in data for end in ("b0", "low")), default=0.5)
    high = max((d[end] for d in data for end in ("b1", "high")), default=2.0)
    ticks = [v for v in (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20) if low <= v <= high]
    x = alt.X("b0:Q", title="ratio (1 = as assumed)",
              scale=alt.Scale(type="log", domain=[min(low, 0.7), max(high, 1.4)], nice=False),
              axis=alt.Axis(values=ticks, labelExpr=PLAIN_LABEL))
    y = alt.Y("name:N", sort=order, title=None, axis=alt.Axis(
        labelLimit=240, domain=False, ticks=False, labelPadding=8,
        labelExpr="split(datum.label, '|')", labelLineHeight=14, labelBaseline="middle",
        labelOffset={"condition": {"test": "indexof(datum.label, '|') >= 0", "value": -7},
                     "value": 0}))
    base = chart_of(data).encode(y=y)
    before = base.mark_bar(height=16, color=colours.shades[1], cornerRadius=8, aria=False).encode(
        x=x, x2="b1:Q")
    after = base.mark_bar(height=6, color=colours.main, cornerRadius=3, aria=False).encode(
        x=alt.X("low:Q"), x2="high:Q")
    mean = base.mark_point(size=110, filled=True, shape="diamond", color=colours.main,
                           stroke=colours.paper, strokeWidth=1.5, opacity=1).encode(
        x=alt.X("mean:Q"), tooltip=[alt.Tooltip("said:N", title="Learnt")],
        description=alt.Description("said:N"))
    one = chart_of([{"b0": 1.0}]).mark_rule(
        color=colours.ink, strokeDash=[2, 3]).encode(x=x)
    return dressed(
        alt.layer(before, one, after, mean).properties(
            width="container", height=max(130, 40 * len(rows) + 50)
        ),
        colours,
    )


def _lines(name: str, width: int = 26) -> str:
    """A long name broken in two at a blank; the axis splits it at the bar."""
    if len(name) <= width:
        return name
    breaks = [i for i, c in enumerate(name) if c == " "]
    at = min(breaks, key=lambda i: abs(i - len(name) / 2), default=None)
    return name if at is None else f"{name[:at]}|{name[at + 1:]}"


def _inside(value: float) -> float:
    """A log axis ends somewhere; ranges beyond it reach its edge."""
    return min(max(value, 0.03), 30.0)
