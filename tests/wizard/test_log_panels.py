"""The log of a run on the page: panels, moments, sentences, in the reader's units."""

from __future__ import annotations

import numpy as np
import pytest

from experiments import example_dossiers
from experiments.attached_log import moments_of
from experiments.job_file import parse
from experiments.log_columns import UNITS, proposed
from experiments.log_file import read_log_file
from experiments.log_reading import read_log
from models.log_marks import AsSet, find_marks
from tests.experiments.instrument_logs import as_text, run_columns
from wizard.charts.palette import palette
from wizard.charts.run_trace import run_trace
from wizard.units import Units
from wizard.view_models.log_panels import (
    TIME_UNITS,
    log_events,
    log_panels,
    log_sentence,
    moment_lines,
    ramp_sentence,
    run_time_sentence,
)

AS_SET = AsSet(120.0, 0.1, 4000.0, 200.0, 318.15, 1.0)


@pytest.fixture
def log():
    table = read_log_file(as_text(run_columns()))
    return read_log(table, proposed(table.headers, table.first()).choices)


@pytest.fixture
def moments(log):
    return moments_of(find_marks(log.run_log(), AS_SET))


def test_panels_are_in_the_units_of_the_reader_and_keep_gaps(log) -> None:
    log.columns["coolant_in"][7] = np.nan
    time, panels = log_panels(log, 0.5, Units(pressure="kPa", temperature="K"))
    assert time[0] == -0.5
    assert list(panels) == ["chamber pressure, kPa", "wall temperature, K", "coolant in, K",
                            "coolant out, K", "warming of the coolant, K"]
    assert panels["chamber pressure, kPa"][0] == pytest.approx(101.0)
    assert panels["coolant in, K"][7] is None
    assert panels["warming of the coolant, K"][-1] == pytest.approx(0.2, abs=0.15)


def test_moments_are_marked_and_said(log, moments) -> None:
    events = log_events(moments)
    assert list(events) == ["boiling begins", "end point", "run ends"]
    lines = moment_lines(moments, Units(decimal="comma"))
    assert next(x for x in lines if x["moment"] == "run time")["after lid-close"] == "40,0 min"
    said = log_sentence(log, moments, Units())
    assert "chamber pressure, wall temperature, coolant in, coolant out" in said
    assert "run ends at 40.0 min" in said
    charts = run_trace(*log_panels(log, 0.0, Units()), palette("light"), events)
    assert len(charts) == 5
    assert "run ends" in str(charts[0].to_dict())


def test_what_cannot_be_told_is_said_so(log) -> None:
    short = {name: values[:100] for name, values in log.columns.items()}
    cut = type(log)(short, log.choices, ())
    moments = moments_of(find_marks(cut.run_log(), AS_SET))
    assert "Cannot be told from this log: end point, run ends" in log_sentence(
        cut, moments, Units())
    assert any(x["after lid-close"] == "cannot tell" for x in moment_lines(moments, Units()))


@pytest.mark.parametrize(("suggested", "recorded", "words"), [
    (None, 40.0, "no run time"), (41.5, None, "None is recorded"), (41.5, 40.0, "40 min is"),
    (41.5, 41.52, "is that of the log")])
def test_a_run_time_is_suggested_never_set(suggested, recorded, words) -> None:
    assert words in run_time_sentence(suggested, recorded, Units())


@pytest.mark.parametrize(("rate", "is_doubted"), [(10.0, True), (80.0, False)])
def test_a_pressure_down_before_the_ramp_can_bring_it_there_is_pointed_out(
    moments, rate, is_doubted
) -> None:
    """The log is down after 10 min; 500 mbar at 10 mbar/min take 50, at 80 mbar/min 6."""
    job = parse(example_dossiers.names()[1].job)
    start = job.equipment.ramp_start_pressure_mbar
    said = ramp_sentence(job, {"end_pressure_mbar": start - 500.0,
                               "ramp_rate_mbar_per_min": rate}, moments, Units(decimal="comma"))
    assert (said is not None) is is_doubted
    assert said is None or "after 10,0 min, but the ramp set for this trial takes 50,0" in said
    moments["end_pressure"]["high"] = None
    assert ramp_sentence(job, {"end_pressure_mbar": start - 500.0,
                               "ramp_rate_mbar_per_min": rate}, moments, Units()) is None


def test_every_unit_of_time_has_words() -> None:
    assert tuple(TIME_UNITS) == UNITS["time"]
