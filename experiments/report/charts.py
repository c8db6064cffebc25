"""Figures of results: recoveries, run times, fit and verification, as Vega-Lite charts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from experiments.answers import Forecast
from experiments.diagnostics import Reading
from experiments.job import EvaporationJob
from experiments.learnt import Learnt
from experiments.report.labels import PLACES, choose_places
from experiments.report.look import (
    GRID,
    INK,
    MAIN,
    MUTED,
    SECOND,
    SERIES,
    SHAPES,
    TEXT_WIDTH,
    dressed,
    rows,
)
from experiments.report.means import mean_recovery
from experiments.trials import Trial
from experiments.verification_runs import VerificationRun, readings

Row = dict[str, Any]
PANELS = 6
"""Analytes shown in small panels; those nearest to their target come first."""


def forecast_against_targets(
    job: EvaporationJob, forecast: Forecast, names: Sequence[str]
) -> dict[str, Any]:
    """Forecast true mean of each analyte with its interval, and its target."""
    data: list[Row] = [
        {"analyte": a.name, "mean": forecast.recovery_percent[a.name].mean,
         "low": forecast.recovery_percent[a.name].low,
         "high": forecast.recovery_percent[a.name].high,
         "target": a.target_recovery_percent, "role": _role(a.role)}
        for a in job.analytes if a.name in names
    ]
    y = _name_axis(data, "analyte", names, 40)
    roles = [r for r in ("decides", "watched") if any(d["role"] == r for d in data)]
    span = [min(0.98 * min(min(d["low"], d["target"]) for d in data), 95.0),
            max(101.0, 1.01 * max(d["high"] for d in data))]
    scale = alt.Scale(domain=span, nice=False)
    base = rows(data)
    bar = base.mark_rule(strokeWidth=2.2, color=MAIN).encode(
        y=y, x=alt.X("low:Q", title="recovery, % of spike", scale=scale), x2="high:Q")
    dot = base.mark_point(filled=True, opacity=1, size=52, color=MAIN).encode(
        y=y, x=alt.X("mean:Q", scale=scale),
        shape=alt.Shape("role:N", title=None, scale=alt.Scale(
            domain=["decides", "watched"], range=["circle", "square"]),
            legend=alt.Legend() if len(roles) > 1 else None))
    goal = base.mark_tick(thickness=2, size=13, color=SECOND).encode(
        y=y, x=alt.X("target:Q", scale=scale))
    return dressed(alt.layer(bar, dot, goal).properties(
        width=TEXT_WIDTH - 200, height=max(46, (17 if len(data) <= 14 else 12) * len(data))))


def _name_axis(data: list[Row], key: str, names: Sequence[str], wide: int) -> alt.Y:
    """A vertical axis of names; long ones are cut, and stay different from each other."""
    short = cut_names(names, wide)
    for row in data:
        row[key] = short[row[key]]
    return alt.Y(f"{key}:N", title=None, sort=list(short.values()),
                 axis=alt.Axis(labelLimit=0))


def cut_names(names: Sequence[str], wide: int) -> dict[str, str]:
    """Names of at most ``wide`` letters; those that would be alike are cut in the middle.

    >>> cut_names(["2,4-dichlorophenol", "phenol"], 9)
    {'2,4-dichlorophenol': '2,4-dich…', 'phenol': 'phenol'}
    >>> list(cut_names(["hexachlorobenzene", "hexachlorobutane"], 9).values())
    ['hexa…zene', 'hexa…tane']
    """
    first = {n: n if len(n) <= wide else n[: wide - 1] + "…" for n in names}
    alike = {n for n in names if list(first.values()).count(first[n]) > 1}
    half = (wide - 1) // 2
    return {n: f"{n[:half]}…{n[-half:]}" if n in alike else text for n, text in first.items()}


def recovery_against_time(
    job: EvaporationJob, trials: Sequence[Trial], names: Sequence[str],
    forecast: Forecast | None,
) -> dict[str, Any]:
    """Mean recovery against run time for all finished trials, one panel an analyte."""
    shown = list(names)[:PANELS]
    targets = {a.name: a.target_recovery_percent for a in job.analytes}
    data: list[Row] = []
    for trial in trials:
        result = trial.result
        if result is None or result.outcome != "finished" or result.run_time_min is None:
            continue
        for name in shown:
            mean = mean_recovery(result, name)
            if mean is not None:
                data.append({"trial": trial.id, "time": result.run_time_min, "analyte": name,
                             "recovery": mean.middle, "target": targets[name],
                             "state": "kept out" if trial.state == "excluded" else "trial"})
    if forecast is not None:
        for name in shown:
            found = forecast.recovery_percent[name]
            data.append({"trial": "", "time": forecast.run_time_min.mean, "analyte": name,
                         "recovery": found.mean, "low": found.low, "high": found.high,
                         "target": targets[name], "state": "recommended"})
    base = rows(data)
    x = alt.X("time:Q", title="run time, min", scale=alt.Scale(zero=False, nice=True))
    y = alt.Y("recovery:Q", title="mean recovery, %", scale=alt.Scale(zero=False))
    looks = {"trial": ("circle", MAIN), "kept out": ("cross", MUTED),
             "recommended": ("diamond", SECOND)}
    states = [s for s in looks if any(d["state"] == s for d in data)]
    points = base.mark_point(filled=True, opacity=0.95).encode(
        x=x, y=y,
        shape=alt.Shape("state:N", title=None, scale=alt.Scale(
            domain=states, range=[looks[s][0] for s in states])),
        color=alt.Color("state:N", title=None, scale=alt.Scale(
            domain=states, range=[looks[s][1] for s in states])),
        size=alt.condition("datum.state == 'recommended'", alt.value(110), alt.value(42)))
    spread = base.mark_rule(color=SECOND, strokeWidth=1.4).encode(
        x=x, y=alt.Y("low:Q", title="mean recovery, %"), y2="high:Q")
    goal = base.mark_rule(color=INK, strokeDash=[5, 3], strokeWidth=1).encode(y="target:Q")
    columns, width = _panels(len(shown))
    _place_labels(data, shown, width, 125.0)
    labels = [
        base.transform_filter(f"datum.place == '{place}'").mark_text(
            dx=dx, dy=dy, align=side, baseline="middle", fontSize=8.5, color=MUTED
        ).encode(x=x, y=y, text="trial:N")
        for place, (dx, dy, side) in PLACES.items() if any(d["place"] == place for d in data)
    ]
    chart = alt.layer(goal, spread, points, *labels).properties(
        width=width, height=125
    ).facet(facet=alt.Facet("analyte:N", title=None, sort=shown), columns=columns
            ).resolve_scale(y="independent").resolve_axis(x="independent")
    return dressed(chart)


def _panels(count: int) -> tuple[int, float]:
    """Columns of small panels and the width of each."""
    columns = min(3, count)
    return columns, (TEXT_WIDTH - 20 - 42 * columns) / columns if columns > 1 else 320.0


ROOM = 2.0
"""How far a label may reach beyond the outermost points, in points: there the axis begins."""


def _place_labels(data: list[Row], shown: Sequence[str], width: float, height: float) -> None:
    """Give every row the place of its label, panel by panel."""
    times = [d["time"] for d in data]
    span = (max(times) - min(times) or 1.0) if times else 1.0
    for name in shown:
        own = [d for d in data if d["analyte"] == name]
        values = [d["recovery"] for d in own] + [d["target"] for d in own]
        reach = (max(values) - min(values) or 1.0) if values else 1.0
        points = [(width * d["time"] / span, -height * d["recovery"] / reach) for d in own]
        across = [x for x, _ in points] or [0.0]
        frame = (min(across) - ROOM, -math.inf, max(across) + ROOM, math.inf)
        for row, place in zip(own, choose_places(points, frame), strict=True):
            row["place"] = place


def predicted_against_observed(found: Sequence[Reading], names: Sequence[str]) -> dict[str, Any]:
    """Leave-one-out forecasts against what was read, recoveries and run times."""
    return dressed(alt.hconcat(
        _against([r for r in found if r.quantity != "run time"], "recovery, %", names),
        _against([r for r in found if r.quantity == "run time"], "run time, min", ["run time"]),
        spacing=24,
    ).resolve_scale(color="independent", shape="independent"))


def _against(found: Sequence[Reading], what: str, names: Sequence[str]) -> Any:
    shown = list(names)[: len(SHAPES)]
    data: list[Row] = [
        {"predicted": r.predicted, "observed": r.observed, "low": r.predicted - 1.96 * r.sd,
         "high": r.predicted + 1.96 * r.sd, "trial": r.trial,
         "quantity": r.quantity if r.quantity in shown else "others"}
        for r in found
    ]
    domain = [*shown, "others"] if any(d["quantity"] == "others" for d in data) else shown
    ends = [x for d in data for x in (d["predicted"], d["observed"])]
    low, high = min(ends, default=0.0), max(ends, default=1.0)
    pad = 0.06 * (high - low or 1.0)
    scale = alt.Scale(domain=[low - pad, high + pad], nice=False, clamp=True)
    base = rows(data)
    y = alt.Y("observed:Q", title=f"observed {what}", scale=scale)
    error = base.mark_rule(color=GRID, strokeWidth=1.6).encode(
        y=y, x=alt.X("low:Q", title=f"forecast {what}", scale=scale), x2="high:Q")
    hues = [SERIES[i % len(SERIES)] for i in range(len(domain))]
    shapes = [SHAPES[i % len(SHAPES)] for i in range(len(domain))]
    legend = None if len(domain) == 1 else alt.Legend(columns=2, title=None)
    points = base.mark_point(filled=True, size=40, opacity=0.95).encode(
        x=alt.X("predicted:Q", title=f"forecast {what}", scale=scale), y=y,
        color=alt.Color("quantity:N", legend=legend, scale=alt.Scale(domain=domain, range=hues)),
        shape=alt.Shape("quantity:N", legend=legend,
                        scale=alt.Scale(domain=domain, range=shapes)))
    line = rows([{"v": low - pad}, {"v": high + pad}]).mark_line(
        color=MUTED, strokeDash=[4, 3], strokeWidth=1).encode(
        x=alt.X("v:Q", scale=scale), y=alt.Y("v:Q", scale=scale))
    return alt.layer(error, line, points).properties(width=TEXT_WIDTH / 2 - 70, height=165)


def learnt_chart(found: Sequence[Learnt]) -> dict[str, Any]:
    """Each parameter after the trials, in units of what was assumed before them."""
    data: list[Row] = []
    for item in found:
        width = item.prior_high - item.prior_low
        place = [(v - item.prior_low) / width if width else 0.5
                 for v in (item.low, item.mean, item.high)]
        data.append({"name": item.meaning, "low": place[0], "mean": place[1], "high": place[2],
                     "zero": 0.0, "one": 1.0})
    y = _name_axis(data, "name", [d["name"] for d in data], 52)
    span = [min(-0.15, min(d["low"] for d in data)), max(1.15, max(d["high"] for d in data))]
    x = alt.Scale(domain=span, nice=False)
    base = rows(data)
    before = base.mark_bar(color=GRID, height=9).encode(
        y=y, x=alt.X("zero:Q", scale=x, title="assumed before any trial: 95 % from 0 to 1",
                     axis=alt.Axis(values=[0, 0.5, 1])), x2="one:Q")
    after = base.mark_rule(color=MAIN, strokeWidth=2.4).encode(
        y=y, x=alt.X("low:Q", scale=x), x2="high:Q")
    dot = base.mark_point(filled=True, color=MAIN, size=42, opacity=1).encode(
        y=y, x=alt.X("mean:Q", scale=x))
    return dressed(alt.layer(before, after, dot).properties(
        width=TEXT_WIDTH - 250, height=15 * len(data)))


def verification_chart(
    targets: Mapping[str, float], runs: Sequence[VerificationRun], names: Sequence[str]
) -> dict[str, Any]:
    """Readings of single vessels and run means by run, against the targets."""
    shown = [n for n in names if n in targets][:PANELS]
    vessels: list[Row] = []
    means: list[Row] = []
    for run in runs:
        for name in shown:
            values = readings(run.result, name)
            vessels += [{"run": run.id, "analyte": name, "recovery": float(v),
                         "target": targets[name]} for v in values]
            if len(values):
                means.append({"run": run.id, "analyte": name, "mean": float(values.mean()),
                              "recovery": float(values.mean()), "target": targets[name]})
    order = [r.id for r in runs]
    x = alt.X("run:N", title="run", sort=order, axis=alt.Axis(
        labelAngle=0, labelOverlap="greedy", labelSeparation=4))
    y = alt.Y("recovery:Q", title="recovery, %", scale=alt.Scale(zero=False))
    base = rows([*vessels, *means])
    dots = base.transform_filter("!isValid(datum.mean)").mark_point(
        filled=True, size=16, opacity=0.55, color=MUTED).encode(x=x, y=y)
    bars = base.transform_filter("isValid(datum.mean)").mark_tick(
        thickness=2.4, size=15, color=MAIN).encode(x=x, y=y)
    goal = base.mark_rule(color=SECOND, strokeDash=[5, 3]).encode(y="target:Q")
    columns, width = _panels(len(shown))
    return dressed(alt.layer(goal, dots, bars).properties(width=width, height=120).facet(
        facet=alt.Facet("analyte:N", title=None, sort=shown), columns=columns
    ).resolve_scale(y="independent").resolve_axis(x="independent"))


def _role(role: str) -> str:
    return "decides" if role == "must" else "watched"
