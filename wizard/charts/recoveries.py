"""Recovery against run time, trial by trial, with the targets and the best compromises."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import altair as alt

from wizard.charts.palette import Palette, chart_of, dressed
from wizard.charts.point_labels import PLOT, Box, Spot, label_layers


@dataclass(frozen=True)
class TrialPoint:
    """One trial: its run time, and the recovery of each analyte (mean, low, high)."""

    label: str
    run_time_min: float
    recovery: Mapping[str, tuple[float, float, float]]
    kind: str = "measured"  # measured | forecast | today | recommended


KIND_NAMES = {
    "measured": "measured", "today": "method in use", "forecast": "forecast",
    "recommended": "recommended (forecast)",
}
KIND_SHAPES = {"measured": "circle", "today": "diamond", "forecast": "square",
               "recommended": "triangle-up"}


def margins_chart(
    points: Sequence[TrialPoint], targets: Mapping[str, float], colours: Palette,
    height: int = 400,
) -> Any:
    """The tightest margin of each trial against its run time, and the best compromises.

    The margin is the smallest of (recovery - target) over the analytes with a target, in
    percentage points; zero is the line that must be reached.
    """
    rows: list[dict[str, Any]] = []
    for p in points:
        gaps = {n: p.recovery[n][0] - t for n, t in targets.items() if n in p.recovery}
        if gaps:
            name = min(gaps, key=lambda n: gaps[n])
            rows.append({
                "t": p.run_time_min, "margin": gaps[name], "label": p.label,
                "kind": KIND_NAMES[p.kind],
                "weight": "bold" if p.kind in ("forecast", "recommended") else "normal",
                "said": f"{p.label}: {p.run_time_min:.0f} min, {name} "
                        f"{gaps[name]:+.1f} points from its target",
            })
    times, margins = _domain([r["t"] for r in rows]), _domain([0.0, *(r["margin"] for r in rows)])
    x = alt.X("t:Q", title="run time, min", axis=alt.Axis(tickCount=10),
              scale=alt.Scale(domain=times, nice=False))
    y = alt.Y("margin:Q", title="tightest margin, % points", axis=alt.Axis(tickCount=8),
              scale=alt.Scale(domain=margins, nice=False))
    zero = chart_of([{"margin": 0}]).mark_rule(
        color=colours.second, strokeWidth=2).encode(y=y)
    name = chart_of([{"margin": 0, "text": "targets just met"}]).mark_text(
        align="right", dx=-6, dy=-8, color=colours.second, fontSize=12, aria=False,
    ).encode(y=y, x=alt.value("width"), text="text:N")
    layers: list[Any] = [zero, name]
    runs = (KIND_NAMES["measured"], KIND_NAMES["today"])
    front = best_compromises([(r["t"], r["margin"]) for r in rows if r["kind"] in runs])
    if len(front) > 1:
        layers.append(
            chart_of([{"t": a, "margin": b} for a, b in front])
            .mark_line(interpolate="step-after", color=colours.main, strokeWidth=2,
                       strokeDash=[6, 3], aria=False)
            .encode(x=x, y=y, order="t:Q")
        )
    layers += _points(rows, x, y, points, colours)
    if rows:
        spots = [Spot(*_share((r["t"], r["margin"]), times, margins), r["label"]) for r in rows]
        layers += label_layers(rows, (x, y), ("label", "weight"), spots, PLOT * height,
                               _lines(front, times, margins), colours)
    return dressed(alt.layer(*layers).properties(width="container", height=height), colours)


def _domain(values: Sequence[float]) -> list[float]:
    """From the least to the largest value, with room for marks and their labels."""
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = 0.1 * ((high - low) or 10.0)
    return [low - room, high + room]


def _share(
    place: tuple[float, float], times: Sequence[float], margins: Sequence[float]
) -> tuple[float, float]:
    """A place in shares of the plot from the left and from the top."""
    return ((place[0] - times[0]) / (times[1] - times[0]),
            (margins[1] - place[1]) / (margins[1] - margins[0]))


def _lines(
    front: Sequence[tuple[float, float]], times: Sequence[float], margins: Sequence[float]
) -> list[Box]:
    """The steps of the front, the line of the targets and its name, as boxes."""
    stops = [_share(place, times, margins) for place in front]
    steps = [box for (a, b), (c, d) in pairwise(stops) for box in ((a, b, c, b), (c, d, c, b))]
    zero = _share((times[0], 0.0), times, margins)[1]
    return [*steps, (0.0, zero, 1.0, zero), (0.8, zero - 0.06, 1.0, zero)]


def best_compromises(pairs: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The (time, margin) pairs that no other beats in both; rising in time.

    >>> best_compromises([(30, 5), (40, 2), (50, 9), (30, 4)])
    [(30, 5), (50, 9)]
    """
    front: list[tuple[float, float]] = []
    for time, margin in sorted(pairs, key=lambda p: (p[0], -p[1])):
        if not front or margin > front[-1][1]:
            front.append((time, margin))
    return front


def _points(
    rows: list[dict[str, Any]], x: alt.X, y: alt.Y, points: Sequence[TrialPoint],
    colours: Palette,
) -> list[Any]:
    kinds = [k for k in KIND_NAMES if any(p.kind == k for p in points)]
    names = [KIND_NAMES[k] for k in kinds]
    fills = {"measured": colours.main, "today": colours.second, "forecast": colours.paper,
             "recommended": colours.third}
    base = chart_of(rows).encode(x=x, y=y)
    legend = alt.Legend(title=None) if len(kinds) > 1 else None
    return [
        base.mark_point(size=120, filled=True, stroke=colours.ink, strokeWidth=1.3, opacity=1)
        .encode(
            shape=alt.Shape("kind:N", legend=legend, scale=alt.Scale(
                domain=names, range=[KIND_SHAPES[k] for k in kinds])),
            fill=alt.Fill("kind:N", legend=legend, scale=alt.Scale(
                domain=names, range=[fills[k] for k in kinds])),
            tooltip=[alt.Tooltip("said:N", title="Trial")],
            description=alt.Description("said:N"),
        ),
    ]


def recoveries_charts(
    points: Sequence[TrialPoint], targets: Mapping[str, float], colours: Palette,
) -> list[Any]:
    """One chart an analyte: recovery against run time, with intervals and its target."""
    charts = []
    times = [p.run_time_min for p in points] or [0.0, 1.0]
    spread = (max(times) - min(times)) or 10.0
    domain = [max(0.0, min(times) - 0.08 * spread), max(times) + 0.08 * spread]
    values = [v for p in points for r in p.recovery.values() for v in r] + list(targets.values())
    lowest, highest = min(values, default=0.0), max(values, default=100.0)
    y_domain = [max(0.0, lowest - 5.0), max(100.0, highest + 3.0)]
    for name, target in targets.items():
        rows = [
            {"t": p.run_time_min, "mean": r[0], "low": r[1], "high": r[2], "label": p.label,
             "kind": KIND_NAMES[p.kind],
             "said": f"{p.label}: {name} {r[0]:.0f} % in {p.run_time_min:.0f} min"}
            for p in points if (r := p.recovery.get(name)) is not None
        ]
        panel = _panel(name, target, rows, (domain, y_domain), points, colours)
        charts.append(dressed(panel, colours))
    return charts


def _panel(
    name: str, target: float, rows: list[dict[str, Any]],
    domains: tuple[list[float], list[float]], points: Sequence[TrialPoint], colours: Palette,
) -> Any:
    x = alt.X("t:Q", title="run time, min", scale=alt.Scale(domain=domains[0], nice=False),
              axis=alt.Axis(tickCount=4))
    y = alt.Y("mean:Q", title="recovery, %", scale=alt.Scale(domain=domains[1], nice=False),
              axis=alt.Axis(tickCount=5))
    rule = chart_of([{"mean": target}]).mark_rule(
        color=colours.second, strokeWidth=2, description=f"target {target:g} %").encode(y=y)
    bars = chart_of(rows).mark_rule(
        color=colours.muted, strokeWidth=1.4, aria=False).encode(x=x, y="low:Q", y2="high:Q")
    kinds = [k for k in KIND_NAMES if any(p.kind == k for p in points)]
    dots = chart_of(rows).mark_point(
        size=70, filled=True, stroke=colours.ink, strokeWidth=1, opacity=1
    ).encode(
        x=x, y=y,
        shape=alt.Shape("kind:N", legend=None, scale=alt.Scale(
            domain=[KIND_NAMES[k] for k in kinds], range=[KIND_SHAPES[k] for k in kinds])),
        color=alt.value(colours.main),
        tooltip=[alt.Tooltip("said:N", title="Trial")],
        description=alt.Description("said:N"),
    )
    title = alt.Title(name, subtitle=f"target {target:g} %", subtitleColor=colours.second,
                      fontSize=13, subtitleFontSize=12, color=colours.ink, offset=6)
    return alt.layer(rule, bars, dots).properties(width=200, height=170, title=title)
