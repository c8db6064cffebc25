"""Figures over the factors: operating map, slices of the region, the predicted run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np

from experiments.factor_space import LOGARITHMIC
from experiments.job import Setting
from experiments.operating_map import WindowMap
from experiments.region import Range, Region
from experiments.region_lattice import Slice
from experiments.report.digits import factor_name, factor_unit
from experiments.report.labels import choose_places, label_layers
from experiments.report.look import (
    BANDS,
    INK,
    MAIN,
    MUTED,
    SECOND,
    SERIES,
    TEXT_WIDTH,
    THIRD,
    dressed,
    rows,
)
from experiments.trials import Trial
from models.system import Array

ROWS = 110
APART: dict[str, Any] = {"labelOverlap": "greedy", "labelSeparation": 4, "labelFlush": False}
"""Numbers of an axis that would touch are left out, and none is pushed into its neighbour."""
NAME_WIDTH = 0.16
"""Share of the map's width that the name of a line takes; it stands clear of the line there."""


def axis_title(factor: str) -> str:
    """Name and unit of a factor, for an axis."""
    unit = factor_unit(factor)
    return f"{factor_name(factor)}{', ' + unit if unit else ''}"


def _scale(name: str, values: Array) -> alt.Scale:
    kind: Any = "log" if name in LOGARITHMIC else "linear"
    return alt.Scale(type=kind, domain=[float(values[0]), float(values[-1])], nice=False)


def bands(
    x: Array, y: Array, probability: Array, y_name: str, levels: Sequence[float]
) -> list[dict[str, float]]:
    """Rectangles of equal class, row by row, edges placed by interpolation along x.

    Parameters
    ----------
    x, y : [X], [Y] axis values
    probability : [Y, X]
    levels : rising; class 0 lies below the first of them
    """
    place = np.log if y_name in LOGARITHMIC else np.asarray
    back = np.exp if y_name in LOGARITHMIC else np.asarray
    edges = np.linspace(float(place(y[0])), float(place(y[-1])), ROWS + 1)
    found = []
    fine = np.linspace(x[0], x[-1], 241)
    overlap = 0.6 * (edges[1] - edges[0])  # no light between neighbouring rectangles
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        middle = 0.5 * (low + high)
        row = np.array([np.interp(middle, place(y), probability[:, i]) for i in range(len(x))])
        classes = np.digitize(np.interp(fine, x, row), levels)
        breaks = np.flatnonzero(np.diff(classes)) + 1
        starts = np.concatenate([[0], breaks])
        ends = np.concatenate([breaks, [len(fine) - 1]])
        found += [
            {"x": float(fine[a]), "x2": float(fine[min(b + 1, len(fine) - 1)]),
             "y": float(back(low)), "y2": float(back(min(high + overlap, edges[-1]))),
             "band": int(classes[a])}
            for a, b in zip(starts, ends, strict=True)
        ]
    return found


def band_levels(asked: float) -> tuple[float, ...]:
    """Probabilities at which the fill changes; the last is the asked assurance.

    >>> band_levels(0.95), band_levels(0.8), band_levels(0.5)
    ((0.5, 0.8, 0.95), (0.5, 0.8), (0.5,))
    """
    return (*(level for level in (0.5, 0.8) if level < asked), asked)


def band_words(asked: float) -> list[str]:
    """What each fill means.

    >>> band_words(0.95)
    ['below 50 %', '50 to 80 %', '80 to 95 %', '95 % or more']
    """
    levels = [f"{100 * level:g}" for level in band_levels(asked)]
    between = [f"{a} to {b} %" for a, b in zip(levels[:-1], levels[1:], strict=True)]
    return [f"below {levels[0]} %", *between, f"{levels[-1]} % or more"]


def _band_layer(
    data: list[dict[str, float]], x: tuple[str, Array], y: tuple[str, Array], asked: float,
    ticks: int = 5,
) -> Any:
    words = band_words(asked)
    named = [{**d, "class": words[int(d["band"])]} for d in data]
    return rows(named).mark_rect(opacity=1).encode(
        x=alt.X("x:Q", title=axis_title(x[0]), scale=_scale(*x), axis=_axis(*x, ticks)), x2="x2:Q",
        y=alt.Y("y:Q", title=axis_title(y[0]), scale=_scale(*y), axis=_axis(*y, ticks)), y2="y2:Q",
        color=alt.Color("class:N", title="probability of meeting every target", sort=words,
                        scale=alt.Scale(domain=words, range=list(BANDS[-len(words):])),
                        legend=alt.Legend(symbolType="square", symbolStrokeColor=MUTED,
                                          symbolStrokeWidth=0.5)),
    )


def _axis(name: str, values: Array, ticks: int) -> alt.Axis:
    """Ticks at 1, 2 and 5 times powers of ten on a logarithmic axis."""
    if name not in LOGARITHMIC:
        return alt.Axis(tickCount=ticks, grid=False, **APART)
    low, high = float(values[0]), float(values[-1])
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    marks = [m * 10.0**p for p in powers for m in (1, 2, 5) if low <= m * 10.0**p <= high]
    return alt.Axis(values=marks, format="~g", grid=False, **APART)


def operating_map(
    found: WindowMap, asked: float, setting: Setting | None, trials: Sequence[Trial],
    region: Region | None = None,
) -> dict[str, Any]:
    """Set temperature against end pressure: probability, boiling line, trials, set point.

    Where there is a region its slice gives the probability: it has a node at the set point,
    while a coarse map would smear a sharp edge beside it.
    """
    x = ("set_temperature_c", found.set_temperature_c)
    y = ("end_pressure_mbar", found.end_pressure_mbar)
    levels = band_levels(asked)
    data = bands(x[1], y[1], found.probability, y[0], levels)
    for own in region.slices if region is not None else ():
        if (own.x, own.y) == (x[0], y[0]):
            data = bands(own.x_values, own.y_values, own.probability, y[0], levels)
    layers = [_band_layer(data, x, y, asked)]
    line = [
        {"x": float(t), "y": float(p)}
        for t, p in zip(found.set_temperature_c, found.boiling_line, strict=True)
        if y[1][0] <= p <= y[1][-1]
    ]
    if len(line) > 1:
        base = rows(line)
        layers.append(base.mark_line(color=INK, strokeWidth=1.4, strokeDash=[6, 3]).encode(
            x=alt.X("x:Q", scale=_scale(*x)), y=alt.Y("y:Q", scale=_scale(*y))))
    layers += _limit_lines(found, trials, x, y)
    layers += _marks(setting, trials, x, y)
    return dressed(alt.layer(*layers).properties(width=TEXT_WIDTH - 90, height=230))


def _limit_lines(
    found: WindowMap, trials: Sequence[Trial], x: tuple[str, Array], y: tuple[str, Array]
) -> list[Any]:
    """Lines where a limit of physics begins, each with its name on it."""
    layers = []
    for hue, (name, margin) in zip(
        (THIRD, SERIES[3], SERIES[5], SERIES[6], SERIES[1]),
        ((n, m) for n, m in found.margins.items() if n != "does not boil"), strict=False,
    ):
        points = []
        for i, t in enumerate(found.set_temperature_c):
            column = margin[:, i]
            cross = np.flatnonzero((column[:-1] > 0) != (column[1:] > 0))
            if len(cross):
                j = int(cross[0])
                share = column[j] / (column[j] - column[j + 1])
                p = np.exp(np.log(y[1][j]) + share * np.log(y[1][j + 1] / y[1][j]))
                points.append({"x": float(t), "y": float(p)})
        if len(points) < 2:
            continue
        base = rows(points)
        place = {"x": alt.X("x:Q", scale=_scale(*x)), "y": alt.Y("y:Q", scale=_scale(*y))}
        layers.append(base.mark_line(color=hue, strokeWidth=1.4).encode(**place))
        at_right = _is_free(points[-1], trials) or not _is_free(points[0], trials)
        end = points[-1 if at_right else 0]
        reach = NAME_WIDTH * float(found.set_temperature_c[-1] - found.set_temperature_c[0])
        name_end = end["x"] + (-reach if at_right else reach)
        log_y = np.interp([name_end, end["x"]], [p["x"] for p in points],
                          [math.log(p["y"]) for p in points])
        highest = max(math.exp(max(log_y)), *(p["y"] for p in points
                                              if abs(p["x"] - end["x"]) <= reach))
        label = [{"x": end["x"], "y": highest, "text": name}]
        layers.append(rows(label).mark_text(
            align="right" if at_right else "left", dy=-6, dx=-3 if at_right else 3, color=hue,
            fontSize=9,
        ).encode(**place, text="text:N"))
    return layers


def _is_free(end: dict[str, float], trials: Sequence[Trial]) -> bool:
    """Whether no trial lies where the name of a line that ends there would stand."""
    return not any(
        abs(float(t.setting["set_temperature_c"]) - end["x"]) < 4.0
        and 0.8 < float(t.setting["end_pressure_mbar"]) / end["y"] < 1.4 for t in trials
    )


def _marks(
    setting: Setting | None, trials: Sequence[Trial], x: tuple[str, Array],
    y: tuple[str, Array],
) -> list[Any]:
    """The trials, and the set point as a diamond."""
    place = {"x": alt.X("x:Q", scale=_scale(*x)), "y": alt.Y("y:Q", scale=_scale(*y))}
    dots = [
        {"x": float(t.setting[x[0]]), "y": float(t.setting[y[0]]), "id": t.id}
        for t in trials
        if x[1][0] <= float(t.setting[x[0]]) <= x[1][-1]
        and y[1][0] <= float(t.setting[y[0]]) <= y[1][-1]
    ]
    layers = []
    if dots:
        layers.append(rows(dots).mark_point(
            filled=True, size=34, color=INK, stroke="white", strokeWidth=0.8, opacity=1
        ).encode(**place))
        layers += label_layers(_placed(dots, x, y), lambda mark: mark.encode(**place), "id")
    if setting is not None:
        point = [{"x": float(setting[x[0]]), "y": float(setting[y[0]])}]
        layers.append(rows(point).mark_point(
            shape="diamond", filled=True, size=150, color=SECOND, stroke="white",
            strokeWidth=1.4, opacity=1).encode(**place))
    return layers


def _placed(
    dots: list[dict[str, Any]], x: tuple[str, Array], y: tuple[str, Array]
) -> list[dict[str, Any]]:
    """The dots with the place of their labels."""
    width, height = TEXT_WIDTH - 90.0, 230.0
    points = [
        (width * (d["x"] - x[1][0]) / (x[1][-1] - x[1][0]),
         -height * math.log(d["y"] / y[1][0]) / math.log(y[1][-1] / y[1][0])) for d in dots
    ]
    chosen = choose_places(points, (0.0, -height, width, 0.0))
    return [{**d, "place": p} for d, p in zip(dots, chosen, strict=True)]


def region_slices(region: Region) -> dict[str, Any]:
    """Slices through the region at the set point, the box and the set point drawn in."""
    panels = [_slice(region, s) for s in region.slices[:3]]
    return dressed(alt.hconcat(*panels, spacing=18))


def _slice(region: Region, found: Slice) -> Any:
    x, y = (found.x, found.x_values), (found.y, found.y_values)
    data = bands(x[1], y[1], found.probability, y[0], band_levels(region.assurance))
    box = {r.factor: r for r in region.box}
    frame = [_corners(box[found.x], box[found.y])]
    outline = rows(frame).mark_rect(
        filled=False, stroke=INK, strokeWidth=1.5, fillOpacity=0
    ).encode(x=alt.X("x:Q", scale=_scale(*x)), x2="x2:Q",
             y=alt.Y("y:Q", scale=_scale(*y)), y2="y2:Q")
    layers = [_band_layer(data, x, y, region.assurance, 3), outline,
              *_marks(region.setting, (), x, y)]
    return alt.layer(*layers).properties(width=(TEXT_WIDTH - 165) / 3, height=125)


def _corners(x: Range, y: Range) -> dict[str, float]:
    return {"x": x.low, "x2": x.high, "y": y.low, "y2": y.high}


def predicted_run_chart(trace: dict[str, Any]) -> dict[str, Any]:
    """Pressure, liquid temperature, volume and condenser load against time."""
    panels = (
        ("pressure_mbar", "pressure, mbar", MAIN), ("liquid_temperature_c", "liquid, °C", SECOND),
        ("volume_ml", "volume, mL", SERIES[3]), ("condenser_load_w", "condenser, W", THIRD),
    )
    times = trace["time_min"]
    keep = range(0, len(times), max(1, len(times) // 160))
    charts = []
    for key, title, hue in panels:
        data = [{"t": times[i], "v": trace[key][i]} for i in keep]
        charts.append(rows(data).mark_line(color=hue, strokeWidth=1.5).encode(
            x=alt.X("t:Q", title="time, min", scale=alt.Scale(nice=False)),
            y=alt.Y("v:Q", title=title, axis=alt.Axis(tickCount=4, format="~f")),
        ).properties(width=TEXT_WIDTH / 2 - 75, height=88))
    top, bottom = alt.hconcat(*charts[:2], spacing=22), alt.hconcat(*charts[2:], spacing=22)
    return dressed(alt.vconcat(top, bottom, spacing=12))
