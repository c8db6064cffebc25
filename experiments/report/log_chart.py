"""What the instruments wrote during runs, drawn over time: a column a run, a row a quantity."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import altair as alt
import numpy as np

from experiments.log_reading import InstrumentLog
from experiments.report.look import GRID, INK, MAIN, MUTED, SECOND, TEXT_WIDTH, dressed, rows
from models.system import Array

BUCKETS = 150
"""A line is drawn through the lowest and the highest reading of each of so many intervals."""
ABREAST = 3
"""Runs beside each other in one figure."""
DASHES = ([1, 0], [7, 3], [2, 2])
HEIGHT = 84.0
NARROWEST = 2.0
"""Least reach of an axis (mbar, °C), so that noise does not look like a change."""
MARGIN = 52.0
Row = dict[str, Any]


class Moment(NamedTuple):
    """A moment marked on a log, with the range in which it lies; min from lid-close."""

    name: str
    at: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class DrawnLog:
    """The log of a trial as it is drawn; ``lid_closed_min`` counts from its first reading."""

    trial: str
    log: InstrumentLog
    lid_closed_min: float
    moments: tuple[Moment, ...]

    @property
    def time(self) -> Array:
        """Minutes [M] from lid-close."""
        return self.log.columns["time"] - self.lid_closed_min


def lines_of(log: InstrumentLog) -> dict[str, dict[str, Array]]:
    """Panel -> line -> readings [M] of what was logged; the name of a lone line is empty."""
    held = log.columns
    panels = {"pressure, mbar": {"": held["pressure"]}}
    if "wall_temperature" in held:
        panels["wall, °C"] = {"": held["wall_temperature"]}
    coolant = {name: held[f"coolant_{name}"] for name in ("in", "out")
               if f"coolant_{name}" in held}
    if coolant:
        panels["coolant, °C"] = coolant
    if len(coolant) == 2:
        panels["coolant's warming, K"] = {"": coolant["out"] - coolant["in"]}
    return panels


def logs_chart(logs: Sequence[DrawnLog], span: tuple[float, float]) -> dict[str, Any]:
    """At most :data:`ABREAST` logs on the same axes of time, ``span`` in min from lid-close.

    A quantity has one scale in all of them, so that runs can be compared.
    """
    each = [lines_of(d.log) for d in logs]
    panels = list(dict.fromkeys(name for lines in each for name in lines))
    names = list(dict.fromkeys(m.name for d in logs for m in d.moments))
    width = (TEXT_WIDTH - MARGIN - 14.0 * len(logs)) / (len(logs) if len(logs) > 1 else 1.3)
    drawn = []
    for n, panel in enumerate(panels):
        domain = _domain([v for lines in each for v in lines.get(panel, {}).values()])
        for i, (log, lines) in enumerate(zip(logs, each, strict=True)):
            made = _panel(log, lines.get(panel), names, span, _y_axis(panel, domain, i == 0),
                          is_last=n == len(panels) - 1).properties(width=width, height=HEIGHT)
            drawn.append(made if n else made.properties(
                title=alt.Title(log.trial, frame="group")))
    grid = alt.concat(*drawn, columns=len(logs), spacing=14)
    return dressed(grid.properties(bounds="flush"))


def span_of(logs: Sequence[DrawnLog]) -> tuple[float, float]:
    """From the first to the last reading of all logs, min from lid-close."""
    return (float(min(d.time[0] for d in logs)), float(max(d.time[-1] for d in logs)))


def thinned(time: Array, values: Array) -> list[tuple[float, float | None]]:
    """The readings that a line needs: no peak, no end and no gap is left out.

    >>> peak = np.where(np.arange(9000) == 4321, 7.0, 1.0)
    >>> found = thinned(np.arange(9000.0), peak)
    >>> len(found) <= 4 * BUCKETS, (4321.0, 7.0) in found, found[-1]
    (True, True, (8999.0, 1.0))
    """
    count = len(time)
    if count <= 2 * BUCKETS:
        kept = list(range(count))
    else:
        chosen = {0, count - 1}
        for part in np.array_split(np.arange(count), BUCKETS):
            told = part[~np.isnan(values[part])]
            if len(told):
                chosen |= {int(told[np.argmin(values[told])]), int(told[np.argmax(values[told])])}
            lost = part[np.isnan(values[part])]
            chosen |= {int(i) for i in lost[:1]}
        kept = sorted(chosen)
    return [(round(float(time[i]), 3),
             None if math.isnan(values[i]) else float(f"{values[i]:.5g}")) for i in kept]


def _panel(
    drawn: DrawnLog, lines: Mapping[str, Array] | None, names: Sequence[str],
    span: tuple[float, float], y: alt.Y, is_last: bool,
) -> Any:
    x = alt.X("t:Q", scale=alt.Scale(domain=list(span), nice=False),
              title="min from lid-close" if is_last else None,
              axis=alt.Axis(labels=is_last, ticks=is_last, tickCount=6))
    if lines is None:
        return rows([{"t": sum(span) / 2, "v": "not logged"}]).mark_text(
            color=MUTED, fontSize=9.5).encode(x=x, text="v:N")
    layers: list[Any] = []
    if drawn.moments:
        layers = _moments(drawn.moments, names, x)
    for colour, (name, values) in zip((MAIN, SECOND), lines.items(), strict=False):
        points: list[Row] = [{"t": t, "v": v} for t, v in thinned(drawn.time, values)]
        layers.append(rows(points).mark_line(
            color=colour, strokeWidth=1.3, invalid="break-paths-show-path-domains",
        ).encode(x=x, y=y))
        told = [p for p in points if p["v"] is not None]
        if name and told:  # "out" above its peak, "in" below its first reading
            is_out = name == "out"
            at = max(told, key=_height) if is_out else told[0]
            layers.append(rows([{**at, "name": name}]).mark_text(
                align="left", dx=3, dy=-6 if is_out else 8, fontSize=9, color=colour,
            ).encode(x=x, y=y, text="name:N"))
    return alt.layer(*layers)


def _height(point: Row) -> float:
    return float(point["v"])


def _moments(moments: Sequence[Moment], names: Sequence[str], x: alt.X) -> list[Any]:
    """A band where each moment lies, and a line where it most likely is."""
    base = rows([{"t": m.at, "low": m.low, "high": m.high, "moment": m.name} for m in moments])
    dash = alt.StrokeDash("moment:N", title=None, scale=alt.Scale(
        domain=list(names), range=[list(d) for d in DASHES[: len(names)]]),
        legend=alt.Legend(symbolType="stroke", symbolStrokeColor=INK, symbolSize=300))
    return [
        base.mark_rect(color=GRID, opacity=0.8, clip=True).encode(
            x="low:Q", x2="high:Q"),
        base.mark_rule(color=INK, strokeWidth=1.0).encode(x=x, strokeDash=dash),
    ]


def _y_axis(panel: str, domain: tuple[float, float], is_first: bool) -> alt.Y:
    return alt.Y("v:Q", title=panel if is_first else None,
                 scale=alt.Scale(domain=list(domain), nice=False),
                 axis=alt.Axis(labels=is_first, ticks=is_first, tickCount=4, format="~f",
                               minExtent=26 if is_first else 0))


def _domain(readings: Sequence[Array]) -> tuple[float, float]:
    """Lowest to highest reading with a little room; from zero where that is near."""
    low = min(float(np.nanmin(r)) for r in readings)
    high = max(float(np.nanmax(r)) for r in readings)
    room = max(0.18 * (high - low), 0.5 * (NARROWEST - (high - low)))
    return (0.0 if 0.0 <= low < 0.3 * high else low - room), high + room
