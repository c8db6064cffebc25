"""The operating map and the limits of the window, in words and in rows."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from experiments import example_dossiers
from experiments.job_file import parse
from experiments.operating_map import WindowMap
from experiments.window import window_limits
from wizard.charts.map_data import MapMark
from wizard.charts.map_marks import label_places
from wizard.units import Units
from wizard.view_models import window_map
from wizard.view_models.window_limits import limit_lines

UNITS = Units()
EXAMPLE = example_dossiers.names()[0]


@pytest.fixture(scope="module")
def job():
    return parse(EXAMPLE.job)


def some_map(probability, time=40.0, in_time=1.0):
    x, y = np.array([30.0, 40.0, 50.0]), np.array([20.0, 60.0, 180.0])
    grid = np.full((3, 3), time)
    return WindowMap(x, y, 50.0, grid, np.full((3, 3), in_time),
                     {"freezes": np.full((3, 3), -1.0)}, np.array(probability),
                     np.full(3, 100.0))


def test_the_map_in_words_names_the_region_and_its_fastest_setting(job):
    found = some_map([[0.99, 0.2, 0.1], [0.99, 0.96, 0.1], [0.99, 0.97, 0.5]])
    text = window_map.map_sentence(found, job, UNITS)
    assert "30 to 40 °C" in text
    assert "20 to 180 mbar" in text
    assert "56 % of the map" in text  # five of nine settings


def test_the_map_in_words_admits_that_nothing_qualifies_yet(job):
    text = window_map.map_sentence(some_map(np.full((3, 3), 0.4)), job, Units("kPa"))
    assert "no setting reaches 95 %" in text
    assert "40 %" in text
    assert "kPa" in text


def test_the_map_in_words_names_what_it_holds_still(job):
    found = replace(some_map(np.full((3, 3), 0.4)),
                    held={"keeper": "n-dodecane", "end_volume_ml": 1.0})
    text = window_map.map_sentence(found, job, UNITS)
    assert text.startswith("At a ramp of 50 mbar/min (keeper n-dodecane, end volume 1 mL), no ")


@pytest.mark.parametrize(("best", "has_outline"), [(0.28, False), (0.61, True)])
def test_the_dotted_outline_is_explained_where_there_is_one(best, has_outline):
    found = some_map([[0.1, 0.2, best]] * 3)
    assert ("Dotted outline" in window_map.even_sentence(found)) is has_outline


def test_settings_outside_the_map_are_named_and_leave_no_label_on_it(job):
    """A robustness study goes beyond the bounds; the border itself is on the map."""
    found, units = some_map(np.full((3, 3), 0.4)), Units("kPa", "K")
    marks = [MapMark(units.shown("set_temperature_c", t), units.shown("end_pressure_mbar", p),
                     f"{name}: setting", "pending")
             for name, t, p in (("T1", 50.0, 20.0), ("T2", 52.0, 60.0), ("T3", 40.0, 15.0))]
    assert window_map.beyond_sentence(found, marks, units) == " Outside the map: T2, T3."
    assert window_map.beyond_sentence(found, marks[:1], units) == ""
    data = window_map.map_data(found, job, units, marks)
    assert [text for _, _, text in label_places(data, "wide", 460)] == ["T1"]


def test_map_data_are_in_the_readers_units(job):
    data = window_map.map_data(some_map(np.full((3, 3), 0.4)), job, Units("kPa", "K"))
    assert data.y[0] == pytest.approx(2.0)
    assert data.x[0] == pytest.approx(303.15)
    assert data.x_title.endswith("K")
    assert data.y_title.endswith("kPa")


def test_runs_too_long_are_a_region_without_run_times(job):
    probability = np.full((3, 3), 0.01)
    found = some_map(probability, time=math.nan, in_time=0.02)
    data = window_map.map_data(found, job, UNITS)
    late = next(r for r in data.regions if r.name == "not done in time")
    assert min(min(row) for row in late.values) > late.level
    assert data.timeless is late
    assert "nan" not in window_map.map_sentence(found, job, UNITS)


def test_limits_are_grouped_by_what_they_do(job):
    found = limit_lines(window_limits(job), Units("kPa", "K"))
    assert next(iter(found)) == "What closes the window"
    assert any("kPa" in line for lines in found.values() for _, line in lines)
    assert not any("mbar" in line for lines in found.values() for _, line in lines)
