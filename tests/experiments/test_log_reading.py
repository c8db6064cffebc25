"""Logs of instruments in many habits: read as they are, or refused with a cure."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.entries import EntryError
from experiments.log_columns import ColumnChoice, checked, proposed
from experiments.log_file import read_log_file
from experiments.log_reading import read_log
from tests.experiments.instrument_logs import HEADERS, as_text, run_columns
from tests.fuzzing import examples

WHAT = ("time", "pressure", "wall_temperature", "coolant_in", "coolant_out")
PRESSURES = {"mbar": 1.0, "hPa": 1.0, "kPa": 10.0, "Pa": 0.01, "Torr": 1013.25 / 760.0}


def read(data):
    table = read_log_file(data)
    return read_log(table, proposed(table.headers, table.first()).choices)


def refused(data, said: str) -> None:
    with pytest.raises(EntryError) as caught:
        read(data)
    assert said in caught.value.message, caught.value.message
    assert caught.value.cure


readings = st.lists(
    st.tuples(st.floats(0.01, 30.0), st.floats(0.1, 1100.0), st.floats(-90.0, 150.0)),
    min_size=10, max_size=40)


@settings(deadline=None, max_examples=examples(60))
@given(rows=readings, delimiter=st.sampled_from(";\t|"), decimal=st.sampled_from(".,"),
       pressure=st.sampled_from(sorted(PRESSURES)), kelvin=st.booleans(),
       unit=st.sampled_from(["s", "min"]), lost=st.sets(st.integers(0, 9), max_size=4),
       encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]), preamble=st.booleans())
def test_numbers_come_back_whatever_the_habit(
    rows, delimiter, decimal, pressure, kelvin, unit, lost, encoding, preamble
) -> None:
    steps, mbar, warm = np.array(rows).T
    time = np.cumsum(steps)
    cells = [[f"{t:.5f}", f"{p / PRESSURES[pressure]:.7f}", f"{w + 273.15 * kelvin:.5f}"]
             for t, p, w in zip(time, mbar, warm, strict=True)]
    for i in lost:
        cells[i][2] = ["", "NaN", "---"][i % 3]
    head = ["Elapsed time", f"Pressure ({pressure})", f"Wall [{'K' if kelvin else '°C'}]"]
    lines = ["log of a run", "instrument 7"] * preamble + [delimiter.join(head)]
    lines += [delimiter.join(c.replace(".", decimal) for c in row) for row in cells]
    table = read_log_file("\n".join(lines).encode(encoding))
    found = proposed(table.headers, table.first()).choices
    assert found["pressure"].unit == pressure
    log = read_log(table, {**found, "time": ColumnChoice("Elapsed time", unit)})
    minutes = (time - time[0]) / (60.0 if unit == "s" else 1.0)
    assert log.columns["time"] == pytest.approx(minutes, abs=1e-4)
    assert log.columns["pressure"] == pytest.approx(mbar, rel=1e-4, abs=1e-5)
    expected = np.where(np.isin(np.arange(len(warm)), sorted(lost)), np.nan, warm)
    np.testing.assert_allclose(log.columns["wall_temperature"], expected, atol=2e-5)
    if lost:
        assert any(f"{len(lost)} of {len(rows)} readings of the wall" in n for n in log.notes)


@settings(deadline=None, max_examples=examples(40))
@given(start=st.integers(10**9, 28 * 10**8),
       steps=st.lists(st.integers(1, 7200), min_size=11, max_size=30),
       way=st.sampled_from(["year first", "day first", "month first", "clock"]),
       clock=st.sampled_from(["%H:%M:%S", "%I:%M:%S %p", "%I:%M:%S%p"]))
def test_moments_come_back_however_they_are_written(start, steps, way, clock) -> None:
    day = {"year first": "%Y-%m-%d ", "day first": "%d.%m.%Y ", "month first": "%m/%d/%Y ",
           "clock": ""}[way]
    form = day + clock
    seconds = np.cumsum([0, *steps])
    stamps = [datetime.fromtimestamp(start + int(s), UTC).strftime(form) for s in seconds]
    data = "when,pressure mbar\n" + "".join(f"{s},{100 - i}.5\n" for i, s in enumerate(stamps))
    log = read_log(read_log_file(data), {
        "time": ColumnChoice("when", way), "pressure": ColumnChoice("pressure mbar", "mbar")})
    assert log.columns["time"] == pytest.approx(seconds / 60.0, abs=1e-6)


@settings(deadline=None, max_examples=examples(150), suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(
    st.binary(max_size=400), st.text(max_size=400),
    st.lists(st.lists(st.text(max_size=8), max_size=5), max_size=20).map(
        lambda rows: "\n".join(";".join(r) for r in rows)),
    st.lists(st.lists(st.sampled_from(
        ["1", "2,5", "3.5", "1e9", "-1e99", "nan", "inf", "", "=1+1", "12:00", "8:15 PM",
         "1,234", "x"]),
        min_size=2, max_size=4), min_size=3, max_size=30).map(
        lambda rows: "time,pressure mbar,wall degC\n" + "\n".join(",".join(r) for r in rows)),
))
def test_whatever_is_given_is_read_or_refused_with_a_cure(data) -> None:
    try:
        table = read_log_file(data)
        log = read_log(table, {"time": ColumnChoice(table.headers[0], "s"),
                               "pressure": ColumnChoice(table.headers[1], "mbar")})
    except EntryError as error:
        words = (error.message, error.cure)
    else:
        words = log.notes
        assert np.isfinite(log.columns["time"]).all()
        assert not np.isinf(log.columns["pressure"]).any()
        assert len(log.columns["time"]) == len(table.lines)
    assert all(words)


def test_a_usual_log_is_understood_whole() -> None:
    table = read_log_file(as_text(run_columns()))
    found = proposed(table.headers, table.first())
    assert found.is_whole
    assert {q: c.column for q, c in found.choices.items()} == dict(zip(WHAT, HEADERS, strict=True))
    log = read_log(table, found.choices)
    assert log.notes == ("540 readings over 44.9 min, usually every 5 s.",)


def test_units_in_a_line_below_the_header_and_lines_before_it_are_said() -> None:
    text = "Log\n\nt;p;wall\ns;hPa;K\n" + "".join(f"{i};{1000 - i};318,1\n" for i in range(12))
    log = read(text)
    assert log.columns["wall_temperature"][0] == pytest.approx(44.95)
    assert any("units" in n for n in log.notes)
    assert any("before the header" in n for n in log.notes)


def test_gaps_repeated_times_and_short_lines_are_said() -> None:
    times = [*range(10), 9, 10, 60, 61, 62]
    body = "".join(f"{t},{900 - t},45\n" for t in times) + "63,800\n"
    log = read("time s,pressure mbar,wall degC\n" + body)
    said = " ".join(log.notes)
    assert "No reading from 0.2 to 1.0 min" in said
    assert "1 reading with the time of the one before" in said
    assert "1 line (the first is line 17) shorter" in said
    assert math.isnan(log.columns["wall_temperature"][-1])


ROWS = "".join(f"{i},{900 - i}\n" for i in range(12))


@pytest.mark.parametrize(("data", "said"), [
    ("", "No header"),
    ("1,2\n3,4\n5,6\n7,8\n", "No header"),
    ("time s,pressure\n" + ROWS, "has no unit yet"),
    ("time s,wall degC\n" + ROWS, "No column is named for the chamber pressure"),
    ("time s,pressure mbar\n" + ROWS.replace("5,895", "5,8x5"), "Line 7, column"),
    ("time s,pressure mbar\n" + ROWS.replace("5,895", ",895"), "Line 7 of the log has no time"),
    ("time s,pressure mbar\n" + ROWS + "3,400\n", "goes back at line 14"),
    ("time s,pressure mbar\n" + ROWS.replace("5,895", "5,89500"), "of 8.95e+04 mbar cannot be"),
    ("time s,pressure mbar\n" + ROWS.replace("5,895", "5,-300"), "-300 mbar cannot be"),
    ("time h,pressure mbar\n" + ROWS.replace("11,", "1100,"), "days long"),
    ("time s,pressure mbar\n" + ROWS.replace("5,895", "5,895,7"), "more cells than the header"),
    ("time s,pressure mbar\n1,2\n2,3\n3,4\n", "only 3 readings"),
    ("time s;pressure mbar\n" + "".join(f"{i};{i},5\n{i};1.5\n" for i in range(9)),
     "both decimal"),
    (b"PK\x03\x04", "workbook"),
    ("time s,pressure mbar\n" + "1,2\n" * 20, "same time"),
    ("time s,pressure mbar\n" + "".join(f"{i},-\n" for i in range(12)), "is empty"),
])
def test_bad_logs_are_refused_with_one_sentence_and_a_cure(data, said) -> None:
    refused(data, said)


@pytest.mark.parametrize(("cell", "way"), [
    ("{h}:{m:02d}:00 AM", "clock"), ("3/14/2026 {h}:{m:02d} a.m.", "month first"),
    ("2026-03-14T{h:02d}:{m:02d}:00Z", "year first"),
    ("2026-03-14, {h}:{m:02d}", "year first"), ("14/03/26 {h}:{m:02d}pm", "day first"),
])
def test_a_log_with_moments_is_found_and_understood_whole(cell, way) -> None:
    """From the bytes to the proposal, as well as to the minutes."""
    data = "time;pressure mbar\n" + "".join(
        f"{cell.format(h=11, m=i)};{900 - i}\n" for i in range(12))
    table = read_log_file(data)
    assert proposed(table.headers, table.first()).choices["time"].unit == way
    assert read(data).columns["time"] == pytest.approx(range(12))


@pytest.mark.parametrize("cell", ["13:05 PM", "0:05 AM", "24:00", "8:60", "8:15 XM", "31/31/2026"])
def test_what_is_no_moment_is_refused_with_its_line(cell) -> None:
    stamps = [f"8:{i:02d}" for i in range(12)]
    data = "time,pressure mbar\n" + "".join(
        f"{s},{900 - i}\n" for i, s in enumerate([*stamps, cell]))
    with pytest.raises(EntryError, match="Line 14: .* is no time written as clock"):
        read_log(read_log_file(data), {"time": ColumnChoice("time", "clock"),
                                       "pressure": ColumnChoice("pressure mbar", "mbar")})


def test_ways_of_writing_a_day_that_fit_both_orders_are_asked() -> None:
    data = "time,pressure mbar\n" + "".join(f"3/2/2026 8:{i:02d},{900 - i}\n" for i in range(12))
    table = read_log_file(data)
    assert proposed(table.headers, table.first()).choices["time"].unit == ""
    refused(data, "has no unit yet")


@pytest.mark.parametrize(("choices", "said"), [
    ({"time": ("t", "s"), "pressure": ("q", "mbar")}, "no column 'q'"),
    ({"time": ("t", "s"), "pressure": ("p", "psi")}, "given in 'psi'"),
    ({"time": ("t", "s"), "pressure": ("t", "mbar")}, "named twice"),
    ({"time": ("t", "s"), "pressure": ("p", "mbar"), "flow": ("x", "W")}, "'flow' is nothing"),
])
def test_choices_that_do_not_fit_are_refused(choices, said) -> None:
    with pytest.raises(EntryError, match=said):
        checked(choices, ("t", "p"))
