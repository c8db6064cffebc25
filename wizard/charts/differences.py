"""Differences with intervals, and replicate runs against their limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from wizard.charts.palette import Palette, chart_of, dressed


@dataclass(frozen=True)
class Difference:
    """A difference of means with its interval, in the unit of the response.

    ``mean`` is nan where readings below their limit leave it open: the interval stands alone.
    """

    response: str
    mean: float
    low: float
    high: float
    verdict: str


def differences_chart(
    rows: Sequence[Difference], margin: float | None, unit: str, colours: Palette
) -> Any:
    """One interval a response about zero, with the margin inside which it does not matter."""
    data = [
        {"name": r.response, "low": r.low, "high": r.high, "said": _said(r, unit),
         "mean": None if math.isnan(r.mean) else r.mean}
        for r in rows
    ]
    order = [r.response for r in rows]
    x = alt.X("low:Q", title=f"difference, {unit}", scale=alt.Scale(nice=True, padding=12),
              axis=alt.Axis(tickCount=8))
    y = alt.Y("name:N", sort=order, title=None,
              axis=alt.Axis(labelLimit=220, domain=False, ticks=False, labelPadding=8))
    layers: list[Any] = []
    if margin is not None:
        layers.append(
            chart_of([{"low": -margin, "high": margin}])
            .mark_rect(color=colours.shades[0], aria=False).encode(x=x, x2="high:Q")
        )
    layers.append(chart_of([{"low": 0}]).mark_rule(color=colours.ink).encode(x=x))
    told = {"tooltip": [alt.Tooltip("said:N", title="Difference")],
            "description": alt.Description("said:N")}
    known, left_open = ([d for d in data if (d["mean"] is None) == is_open]
                        for is_open in (False, True))
    line = {"color": colours.main, "strokeWidth": 3}
    if left_open:
        layers.append(
            chart_of(left_open).mark_rule(**line).encode(y=y, x=x, x2="high:Q", **told))
    base = chart_of(known).encode(y=y)
    layers += [
        base.mark_rule(**line, aria=False).encode(x=x, x2="high:Q"),
        base.mark_point(size=110, filled=True, shape="diamond", color=colours.main, opacity=1)
        .encode(x=alt.X("mean:Q"), **told),
    ]
    return dressed(
        alt.layer(*layers).properties(width="container", height=max(110, 42 * len(rows))), colours
    )


def _said(row: Difference, unit: str) -> str:
    """What a reader of the mark is told."""
    ends = f"{row.low:+.3g} to {row.high:+.3g}"
    by = f"{ends} {unit}" if math.isnan(row.mean) else f"{row.mean:+.3g} {unit} ({ends})"
    return f"{row.response}: {by}, {row.verdict}"


@dataclass(frozen=True)
class ReplicateReading:
    """One reading of a verification run, which may count for the decision or not."""

    run: str
    analyte: str
    recovery: float
    counts: bool = True
    is_below: bool = False  # its limit, at which it is drawn

    @property
    def words(self) -> str:
        """What a reader of the point is told."""
        value = f"{'below ' if self.is_below else ''}{self.recovery:.0f} %"
        return f"{self.run}: {value}{'' if self.counts else ', does not count'}"


def replicates_charts(
    readings: Sequence[ReplicateReading], limits: dict[str, tuple[float, float]],
    colours: Palette,
) -> list[Any]:
    """Readings of each run beside the band they must average into, one chart an analyte.

    Those that do not count are hollow.
    """
    charts = []
    runs = list(dict.fromkeys(r.run for r in readings))
    values = [r.recovery for r in readings] + [v for pair in limits.values() for v in pair]
    domain = [max(0.0, min(values, default=0.0) - 5.0), max(values, default=100.0) + 5.0]
    for name, (low, high) in limits.items():
        rows = [{"run": r.run, "v": r.recovery, "said": r.words, "filled": float(r.counts)}
                for r in readings if r.analyte == name]
        y = alt.Y("v:Q", title="recovery, %", scale=alt.Scale(domain=domain, nice=False))
        band = chart_of([{"v": low, "high": high}]).mark_rect(
            color=colours.shades[0], description=f"{low:g} to {high:g} %").encode(y=y, y2="high:Q")
        floor = chart_of([{"v": low}]).mark_rule(
            color=colours.second, strokeWidth=2).encode(y=y)
        dots = chart_of(rows).mark_point(
            filled=True, color=colours.main, stroke=colours.main, opacity=0.75, size=55).encode(
            fillOpacity=alt.FillOpacity("filled:Q", scale=None, legend=None),
            x=alt.X("run:N", sort=runs, title=None, axis=alt.Axis(
                labelAngle=0, labelFontSize=11, labelOverlap=True)), y=y,
            tooltip=[alt.Tooltip("said:N", title="Reading")],
            description=alt.Description("said:N"))
        charts.append(dressed(alt.layer(band, floor, dots).properties(
            width=min(max(200, 46 * len(runs)), 320), height=170,
            title=alt.Title(name, fontSize=13, color=colours.ink)), colours))
    return charts
