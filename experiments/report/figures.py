"""Figures of the report as Vega-Lite specifications; own palette, told apart by shape too."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from experiments.diagnostics import Reading
from experiments.fitted import Fitted
from experiments.job import Setting
from experiments.predicted_run import predicted_run
from experiments.window import WindowMap

INK, MAIN, SECOND, THIRD, PALE = "#22303c", "#1f5f8b", "#b5651d", "#6b4c8a", "#d7e0e7"
SHAPES = ["circle", "square", "triangle-up", "diamond", "cross", "triangle-down"]
HUES = [MAIN, SECOND, THIRD, "#2f7d6d", "#8c2f4f", "#6f6a5d"]
FONT = "Libertinus Serif"
WIDTH = 440


def _dressed(chart: Any) -> dict[str, Any]:
    styled = chart.configure(
        font=FONT, background="white", view=alt.ViewConfig(stroke=PALE),
    ).configure_axis(
        labelFontSize=11, titleFontSize=12, gridColor="#eef2f5", domainColor=INK,
        tickColor=INK, labelColor=INK, titleColor=INK, titleFontWeight="normal",
    ).configure_legend(labelFontSize=11, titleFontSize=11, labelColor=INK, titleColor=INK,
                       orient="bottom", columns=3, symbolSize=70, labelLimit=300)
    spec: dict[str, Any] = styled.to_dict()
    return spec


def recovery_against_time(fitted: Fitted, recommended: Setting | None) -> dict[str, Any]:
    """Mean recovery of each analyte against run time for all trials, with the targets."""
    rows = []
    for trial in fitted.trials:
        result = trial.result
        if result is None or result.run_time_min is None or result.outcome != "finished":
            continue
        for analyte in fitted.job.analytes:
            values = [r.percent for r in result.recovery.get(analyte.name, ()) if r is not None]
            if values:
                rows.append({"time": result.run_time_min, "recovery": sum(values) / len(values),
                             "analyte": analyte.name, "trial": trial.id})
    names = [a.name for a in fitted.job.analytes]
    shapes = [SHAPES[i % len(SHAPES)] for i in range(len(names))]
    hues = [HUES[i % len(HUES)] for i in range(len(names))]
    frame = pd.DataFrame(rows, columns=["time", "recovery", "analyte", "trial"])
    base = alt.Chart(frame)
    points = base.mark_point(filled=True, size=55, opacity=0.9).encode(
        x=alt.X("time:Q", title="run time, min", scale=alt.Scale(zero=False)),
        y=alt.Y("recovery:Q", title="mean recovery, %", scale=alt.Scale(zero=False)),
        shape=alt.Shape("analyte:N", title=None, scale=alt.Scale(domain=names, range=shapes),
                        sort=names),
        color=alt.Color("analyte:N", title=None, scale=alt.Scale(domain=names, range=hues),
                        sort=names),
    )
    targets = alt.Chart(pd.DataFrame([
        {"target": t} for t in sorted({a.target_recovery_percent for a in fitted.job.must})
    ])).mark_rule(strokeDash=[5, 4], color=INK).encode(y="target:Q")
    layers = [targets, points]
    if recommended is not None:
        forecast = fitted.forecast([recommended])[0]
        layers.append(alt.Chart(pd.DataFrame([{"time": forecast.run_time_min.mean}])).mark_rule(
            color=MAIN, strokeWidth=1.5).encode(x="time:Q"))
    return _dressed(alt.layer(*layers).properties(width=WIDTH, height=230))


def predicted_against_observed(readings: Sequence[Reading]) -> dict[str, Any]:
    """Each recovery against its leave-one-out forecast, with the line of equality."""
    rows = [
        {"predicted": r.predicted, "observed": r.observed, "quantity": r.quantity}
        for r in readings if r.quantity != "run time"
    ]
    frame = pd.DataFrame(rows, columns=["predicted", "observed", "quantity"])
    low = min([*frame["predicted"], *frame["observed"]], default=0.0)
    high = max([*frame["predicted"], *frame["observed"]], default=100.0)
    names = list(dict.fromkeys(frame["quantity"]))
    line = alt.Chart(pd.DataFrame({"v": [low, high]})).mark_line(
        color=INK, strokeDash=[4, 4]).encode(x="v:Q", y="v:Q")
    scale = alt.Scale(zero=False)
    points = alt.Chart(frame).mark_point(filled=True, size=45, opacity=0.85).encode(
        x=alt.X("predicted:Q", title="forecast from the other runs, %", scale=scale),
        y=alt.Y("observed:Q", title="observed, %", scale=scale),
        shape=alt.Shape("quantity:N", title=None, sort=names, scale=alt.Scale(
            domain=names, range=[SHAPES[i % len(SHAPES)] for i in range(len(names))])),
        color=alt.Color("quantity:N", title=None, sort=names, scale=alt.Scale(
            domain=names, range=[HUES[i % len(HUES)] for i in range(len(names))])),
    )
    return _dressed(alt.layer(line, points).properties(width=300, height=230))


def operating_map(found: WindowMap, fitted: Fitted, recommended: Setting | None) -> dict[str, Any]:
    """Probability of meeting every target over set temperature and end pressure."""
    rows = [
        {"t": float(t), "p": float(p), "chance": 100.0 * float(found.probability[j, i]),
         "minutes": float(found.run_time_min[j, i])}
        for j, p in enumerate(found.end_pressure_mbar)
        for i, t in enumerate(found.set_temperature_c)
    ]
    frame = pd.DataFrame(rows)
    asked = 100.0 * fitted.job.limits.assurance
    frame["band"] = pd.cut(frame["chance"], [-1, 50, 80, asked, 101], right=False, labels=[
        "below 50 %", "50 to 80 %", f"80 to {asked:g} %", f"at least {asked:g} %",
    ]).astype(str)
    bands = ["below 50 %", "50 to 80 %", f"80 to {asked:g} %", f"at least {asked:g} %"]
    tiles = alt.Chart(frame).mark_point(filled=True, size=130, opacity=1).encode(
        x=alt.X("t:Q", title="set temperature, degC", scale=alt.Scale(zero=False)),
        y=alt.Y("p:Q", title="end pressure, mbar", scale=alt.Scale(type="log", nice=False)),
        color=alt.Color("band:N", title="probability of meeting every target", sort=bands,
                        scale=alt.Scale(domain=bands,
                                        range=["#eceff1", "#c3d3de", "#7fa6c1", "#1f5f8b"])),
        shape=alt.Shape("band:N", title="probability of meeting every target", sort=bands,
                        scale=alt.Scale(domain=bands,
                                        range=["cross", "triangle-up", "square", "circle"])),
    )
    step = frame[frame["t"].isin(sorted(frame["t"].unique())[::3])]
    step = step[step["p"].isin(sorted(step["p"].unique())[1::3])]
    labels = alt.Chart(step).mark_text(dy=-11, fontSize=9, color=INK).encode(
        x="t:Q", y="p:Q", text=alt.Text("minutes:Q", format=".0f"))
    layers = [tiles, labels]
    if recommended is not None:
        mark = pd.DataFrame([{
            "t": float(recommended["set_temperature_c"]),
            "p": float(recommended["end_pressure_mbar"]), "label": "recommended",
        }])
        layers.append(alt.Chart(mark).mark_point(
            shape="diamond", size=170, filled=False, strokeWidth=2.5, color=SECOND
        ).encode(x="t:Q", y="p:Q"))
        layers.append(alt.Chart(mark).mark_text(
            dx=10, align="left", fontSize=12, color=SECOND, fontWeight="bold"
        ).encode(x="t:Q", y="p:Q", text="label:N"))
    return _dressed(alt.layer(*layers).properties(width=WIDTH, height=280))


def run_figure(fitted: Fitted, setting: Setting) -> dict[str, Any]:
    """Pressure, liquid temperature, volume and condenser load against time."""
    z = fitted.surrogate.posterior_.z[:, : len(fitted.surrogate.posterior_.z[0]) - 5]
    trace = predicted_run(fitted.job, setting, z.mean(axis=0))["trace"]
    panels = [("pressure_mbar", "pressure, mbar"), ("liquid_temperature_c", "liquid, degC"),
              ("volume_ml", "volume, mL"), ("condenser_load_w", "condenser load, W")]
    charts = []
    for n, (key, title) in enumerate(panels):
        frame = pd.DataFrame({"t": trace["time_min"], "v": trace[key]})
        charts.append(alt.Chart(frame).mark_line(color=HUES[n], strokeWidth=1.6).encode(
            x=alt.X("t:Q", title="time, min" if n > 1 else None),
            y=alt.Y("v:Q", title=title, axis=alt.Axis(tickCount=4)),
        ).properties(width=190, height=110))
    return _dressed(alt.vconcat(alt.hconcat(*charts[:2]), alt.hconcat(*charts[2:])))
