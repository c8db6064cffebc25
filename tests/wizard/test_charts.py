"""Every chart is a valid specification whose axes carry a title with its unit."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from wizard.charts import differences, fit_quality, learning, point_labels, recoveries
from wizard.charts.decimal_sign import with_commas
from wizard.charts.map_data import MapData, MapMark, MapRegion, domains, drawn_axes
from wizard.charts.map_marks import label_places
from wizard.charts.map_names import LETTER, LINE, placed_names
from wizard.charts.operating_map import operating_map
from wizard.charts.palette import DARK, LIGHT, SHAPES, palette
from wizard.charts.run_trace import run_trace
from wizard.charts.vapour_pressure import vapour_pressure_chart
from wizard.units import Units

PALETTES = pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])


def map_data(kept=0.99):
    x, y = np.linspace(25, 55, 9), np.geomspace(20, 300, 8)
    grid, _ = np.meshgrid(x, y)
    time = 1200 / (grid - 20)
    regions = [
        MapRegion("boils over", (grid - 48).tolist(), 0.0),
        MapRegion("keeps every target, 95 %", np.where(grid < 40, kept, 0.1).tolist(), 0.95,
                  "kept"),
        MapRegion("even chance", np.where(grid < 44, 0.9, 0.1).tolist(), 0.5, "even"),
    ]
    marks = [MapMark(35, 100, "T1: slow", "today"), MapMark(35.1, 101, "T2: slow", "trial"),
             MapMark(55, 60, "T3: hot", "pending")]
    return MapData(x.tolist(), y.tolist(), "set temperature, °C", "end pressure, mbar",
                   time.tolist(), regions, marks)


def points():
    return [
        recoveries.TrialPoint("T1", 90.0, {"a": (92.0, 90.0, 94.0)}, "today"),
        recoveries.TrialPoint("T2", 40.0, {"a": (70.0, 66.0, 75.0)}),
        recoveries.TrialPoint("R", 45.0, {"a": (86.0, 82.0, 90.0)}, "recommended"),
    ]


def all_charts(colours):
    yield operating_map(map_data(), colours)
    yield from run_trace([0.0, 1.0, 2.0], {"pressure, mbar": [700.0, 60.0, None]}, colours,
                         {"dry": 1.5})
    yield recoveries.margins_chart(points(), {"a": 80.0}, colours)
    yield from recoveries.recoveries_charts(points(), {"a": 80.0}, colours)
    yield learning.learnt_chart(
        [learning.LearntRow("loss from the dry film or the keeper", (0.2, 5.0), 1.0, 2.0, 3.0,
                            "more")], colours)
    yield differences.differences_chart(
        [differences.Difference("a", 1.0, -2.0, 4.0, "same"),
         differences.Difference("b", float("nan"), -90.0, -40.0, "different")],
        5.0, "points", colours)
    yield from differences.replicates_charts(
        [differences.ReplicateReading("V1", "a", 90.0)], {"a": (80.0, 120.0)}, colours)
    yield fit_quality.fit_quality(
        [fit_quality.FitRow("T1", "a", 90.0, 80.0, 100.0, 92.0)], colours)
    yield vapour_pressure_chart([{"t": 0.0, "p": 1.0}, {"t": 50.0, "p": 80.0}],
                                ("°C", "mbar"), (25.0, 20.0), colours)


def walk(spec):
    if isinstance(spec, dict):
        yield spec
        for value in spec.values():
            yield from walk(value)
    elif isinstance(spec, list):
        for value in spec:
            yield from walk(value)


@PALETTES
def test_charts_are_valid_and_hold_no_nan(colours):
    for chart in all_charts(colours):
        json.dumps(chart.to_dict(), allow_nan=False)


@PALETTES
def test_titles_of_axes_end_in_a_unit(colours):
    for chart in all_charts(colours):
        for part in walk(chart.to_dict()):
            for channel in ("x", "y"):
                title = part.get(channel, {}).get("title") if isinstance(
                    part.get(channel), dict) else None
                if title:
                    assert ", " in title or "(1 = as assumed)" in title, title


def test_marks_on_the_border_are_inside_the_picture():
    spec = operating_map(map_data(), LIGHT).to_dict()
    domains = [p["scale"]["domain"] for p in walk(spec)
               if isinstance(p.get("scale"), dict) and "domain" in p["scale"]
               and p.get("field") == "x"]
    assert domains
    for low, high in domains:
        assert low < 25 < 55 < high


def texts(chart):
    return [row["text"] for part in walk(chart.to_dict())
            for row in part.get("values", []) if isinstance(row, dict) and "text" in row]


def test_regions_contours_and_marks_are_named_on_the_map():
    shown = texts(operating_map(map_data(), LIGHT))
    assert any("keeps every" in t for t in shown)
    assert any("boils" in t for t in shown)
    assert any(t.endswith(" min") for t in shown)
    assert "T1, T2" in shown  # marks on each other share a label
    assert "even chance" not in shown  # said only where nothing better is


def test_an_even_chance_is_named_where_nothing_qualifies():
    assert "even chance" in " ".join(texts(operating_map(map_data(kept=0.7), LIGHT))).replace(
        "\n", " ")


def test_best_compromises_are_beaten_by_no_other():
    pairs = [(30.0, 5.0), (40.0, 2.0), (50.0, 9.0), (30.0, 4.0), (60.0, 9.0)]
    front = recoveries.best_compromises(pairs)
    assert front == [(30.0, 5.0), (50.0, 9.0)]
    for time, margin in pairs:
        assert any(a <= time and b >= margin for a, b in front)


def luminance(colour):
    """Relative luminance (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first, second):
    """Contrast ratio (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@PALETTES
def test_colours_stand_out_from_the_page(colours):
    assert contrast(colours.ink, colours.paper) > 7.0  # WCAG 2.2 AAA, text
    for colour in (colours.main, colours.second, colours.third, colours.muted):
        assert contrast(colour, colours.paper) > 3.0, colour  # WCAG 2.2 1.4.11, graphics
    for colour in colours.series:
        assert contrast(colour, colours.paper) > 3.0, colour


def test_series_differ_in_shape_as_well():
    assert len(set(SHAPES)) == len(SHAPES) >= len(LIGHT.series)


def test_no_fill_is_a_traffic_light():
    """No pure red, yellow or green: hues between 90 and 150 degrees are left out."""
    for colours in (LIGHT, DARK):
        for colour in (colours.main, colours.second, colours.third):
            r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
            hue = math.degrees(math.atan2(math.sqrt(3) * (g - b), 2 * r - g - b)) % 360
            assert not 90 <= hue <= 150


def test_the_palette_follows_the_theme():
    assert palette("dark") is DARK
    assert palette("light") is LIGHT
    assert palette(None) is LIGHT


@pytest.mark.parametrize("shape", list(LETTER))
def test_no_name_of_a_region_covers_a_mark(shape):
    """Also where marks crowd inside the region: the name then stands beside it with a line."""
    found = map_data()
    crowd = [MapMark(x, y, f"T{n}", "trial") for n, (x, y) in enumerate(
        (x, y) for x in (26, 29, 32, 35) for y in (22, 33, 50, 75, 112, 168, 250))]
    found = MapData(found.x, found.y, found.x_title, found.y_title, found.run_time,
                    found.regions, crowd)
    axes = drawn_axes(found)
    labels, leaders = placed_names(found, axes, shape, (), ())
    kept = [n for n in labels if n["text"].startswith("keeps")]
    assert all(n["x"] > 38 for n in kept)
    if shape == "wide":
        assert [n for n in leaders if n["x"] == kept[0]["x"] and n["x2"] <= 38]
    for name in labels:
        lines = name["text"].split("\n")
        wide = 0.5 * 30 * LETTER[shape] * max(map(len, lines))
        for mark in crowd:
            across = abs(mark.x - name["x"]) > wide
            up = abs(math.log(mark.y / name["y"])) > 0.5 * LINE * len(lines) * math.log(15)
            assert across or up, (name, mark)


@pytest.mark.parametrize("shape", list(LETTER))
def test_the_name_of_a_region_stands_where_no_other_is_drawn_over_it(shape):
    """"Not done in time" once stood on the shade of another limit, its own part unnamed."""
    x, y = np.linspace(25, 60, 15), np.geomspace(3, 250, 16)
    up = np.repeat(y[:, None], 15, axis=1)
    below = MapRegion("vapour passes the condenser", (25.0 - up).tolist(), 0.0)
    late = MapRegion("not done in time",
                     np.where((up < 25.0) | (up > 120.0), 1.0, -1.0).tolist(), 0.0)
    found = MapData(x.tolist(), y.tolist(), "set temperature, °C", "end pressure, mbar",
                    np.full((16, 15), 40.0).tolist(), [late, below], [])
    labels, _ = placed_names(found, drawn_axes(found), shape, (), ())
    places = {n["text"].replace("\n", " "): n["y"] for n in labels}
    assert places["not done in time"] > 100.0
    assert places["vapour passes the condenser"] < 25.0


@pytest.mark.parametrize("shape", list(LETTER))
def test_no_name_covers_a_label_where_the_map_is_finer(shape):
    """Around a setting the grid is finer; the map on the screen is not."""
    x = [25.0, 35.0, 40.0, *np.linspace(41.0, 51.0, 21).tolist(), 53.0, 55.0]
    y = [20.0, 60.0, *np.geomspace(110.0, 190.0, 21).tolist(), 240.0, 300.0]
    inside = [[1.0 if b >= 100 and a >= 38 else 0.0 for a in x] for b in y]
    found = MapData(x, y, "set temperature, °C", "end pressure, mbar", [[20.0] * len(x)] * len(y),
                    [MapRegion("keeps every target, 95 %", inside, 0.9, "kept")],
                    [MapMark(50.0, 150.0, "T9: here", "trial")])
    axes = drawn_axes(found)
    middle = 50.0 + 0.5 * 30.0 * LETTER[shape] * len("T9, T11")
    (name,), _ = placed_names(found, axes, shape, (), [(middle, 150.0, "T9, T11")])
    wide = 0.5 * LETTER[shape] * max(map(len, name["text"].split("\n")))
    left, right = (name["x"] - 25.0) / 30.0 - wide, (name["x"] - 25.0) / 30.0 + wide
    up = abs(math.log(name["y"] / 150.0)) / math.log(15.0)
    label = (25.0 / 30.0, 25.0 / 30.0 + LETTER[shape] * len("T9, T11"))
    assert up > 0.5 * LINE or right < label[0] or left > label[1], name


@pytest.mark.parametrize("shape", list(point_labels.WIDTHS))
def test_labels_of_marks_crowded_at_an_edge_of_the_map_lie_apart_and_on_it(shape):
    places = [(53.2, 280.0), (54.0, 240.0), (55.0, 300.0), (55.0, 210.0), (54.5, 180.0),
              (25.0, 20.0), (25.2, 24.0)]
    found = replace(map_data(), marks=[
        MapMark(x, y, f"T{n}: here", "trial") for n, (x, y) in enumerate(places, start=8)])
    (x0, x1), (y0, y1) = domains(found)
    size = point_labels.WIDTHS[shape], point_labels.PLOT * 460
    boxes = []
    for x, y, text in label_places(found, shape, 460):
        middle = (size[0] * (x - x0) / (x1 - x0),
                  size[1] * (1.0 - math.log(y / y0) / math.log(y1 / y0)))
        half = 0.5 * point_labels.LETTER * len(text)
        boxes.append((middle[0] - half, middle[1] - 6.0, middle[0] + half, middle[1] + 6.0))
    assert len(boxes) > 3
    for n, (left, top, right, bottom) in enumerate(boxes):
        assert min(left, size[0] - right) >= 0.0
        assert min(top, size[1] - bottom) >= -8.0  # above and below is room for a line
        for other in boxes[:n]:
            assert right <= other[0] or other[2] <= left or bottom <= other[1] or other[3] <= top


@pytest.mark.parametrize("shape", list(point_labels.WIDTHS))
def test_labels_of_crowded_points_cover_neither_points_nor_each_other(shape):
    crowd = [(0.10, 0.20), (0.15, 0.18), (0.20, 0.20), (0.215, 0.205), (0.21, 0.12),
             (0.24, 0.14), (0.29, 0.21), (0.41, 0.17), (0.61, 0.08), (0.57, 0.92)]
    spots = [point_labels.Spot(x, y, f"T{n}") for n, (x, y) in enumerate(crowd)]
    size = (point_labels.WIDTHS[shape], 300.0)
    places = point_labels.placed(spots, size[1], shape)
    boxes = []
    for spot, (dx, dy, align) in zip(spots, places, strict=True):
        wide = point_labels.LETTER * len(spot.text)
        left = spot.x * size[0] + dx - {"left": 0, "center": 0.5, "right": 1}[align] * wide
        boxes.append((left, spot.y * size[1] + dy - 7, left + wide, spot.y * size[1] + dy + 7))
    for n, (left, top, right, bottom) in enumerate(boxes):
        assert left > 0
        for other in boxes[n + 1 :]:
            assert right <= other[0] or left >= other[2] or bottom <= other[1] or top >= other[3]
        for spot in spots:
            x, y = spot.x * size[0], spot.y * size[1]
            assert not (left < x < right and top < y < bottom), (spots[n], spot)


def test_a_chart_has_the_decimal_sign_of_its_reader():
    row = learning.LearntRow("heat transfer", (0.3, 2.5), 0.5, 0.8, 1.2, "0.8 of what was assumed")
    spec = learning.learnt_chart([row], LIGHT).to_dict()
    shown = with_commas(spec, Units(decimal="comma").sign)
    assert shown["config"]["locale"]["number"]["decimal"] == ","
    assert {r["said"] for p in walk(shown) for r in p.get("values", [])
            if isinstance(r, dict) and "said" in r} == {"0,8 of what was assumed"}
    assert {**shown, "config": None} != {**spec, "config": None}
    assert [r["low"] for p in walk(shown) for r in p.get("values", [])
            if isinstance(r, dict) and "low" in r][0] == 0.5


def test_the_axis_of_what_was_learnt_reaches_as_far_as_its_ranges():
    row = learning.LearntRow("loss from the film", (0.2, 5.0), 0.1, 0.5, 9.0, "lower")
    spec = learning.learnt_chart([row], LIGHT).to_dict()
    domain = spec["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert domain == [0.1, 9.0]


def test_words_of_events_point_to_the_middle_of_the_run():
    """So that those of the first and the last moment are not cut at the edge."""
    chart = run_trace([0.0, 40.0], {"pressure, mbar": [1000.0, 100.0]}, LIGHT,
                      {"boiling begins": 3.0, "run ends": 38.0})[0].to_dict()
    words = [(layer["mark"]["align"], layer["transform"][0]["filter"])
             for layer in chart["layer"] if layer["mark"]["type"] == "text"]
    assert set(words) == {("left", "datum.t < 20.0"), ("right", "datum.t >= 20.0")}
