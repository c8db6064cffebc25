"""Days on which runs were made: one day stays one, however it is spelled."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from experiments.dossier_state import read_result, result_payload
from experiments.entries import EntryError, check_result
from experiments.readings import same_day
from experiments.results_table import read_table
from experiments.trials import Result
from experiments.verification_runs import VerificationRun, summarise

A = "diethyl phthalate"
HEAD = f"trial;vessel;run_time_min;day;found_ug:{A}\n"
SETTING = {"set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 20.0, "end_pressure_mbar": 50.0}


def recorded(job, written: str) -> Result:
    return check_result(job, 40.0, "finished", {A: [88.0]}, day=written)


@pytest.mark.parametrize("written", [
    "2026-03-10 08:30", "2026-03-10T08:30:00", "10.03.2026 8:30", "2026/3/10 2:30 pm"])
def test_the_time_of_day_makes_no_other_day(job, written):
    assert recorded(job, written).day == "2026-03-10"


@pytest.mark.parametrize("written", ["10.03.26", "3/10/26", "10-3-26", "10.03.26 08:30"])
def test_a_date_without_its_century_is_refused(job, written):
    with pytest.raises(EntryError, match="Write it as 2026-03-10"):
        recorded(job, written)


@pytest.mark.parametrize(("one", "other"), [("Day 1", "day 1"), ("Monday", "monday "),
                                            ("first  day", "first day")])
def test_case_and_spaces_make_no_other_day_for_verification_as_for_the_fit(job, one, other):
    runs = [VerificationRun(f"V{i}", SETTING, recorded(job, day))
            for i, day in enumerate((one, other, "another"))]
    deciding = (SimpleNamespace(analyte=A),)  # all that matters of a plan here
    days = summarise(SimpleNamespace(criteria=SimpleNamespace(deciding=deciding)), runs).day
    assert days[0] == days[1] != days[2]
    assert np.array_equal(same_day([r.result.day for r in runs], 3) == 1.0,
                          np.equal.outer(days, days))


@pytest.mark.parametrize(("run", "reference"), [
    ("2026-03-10", "10.03.2026"), ("2026-03-10 14:00", "2026-03-10 08:00"), ("Mon", "mon")])
def test_references_of_a_day_are_found_however_it_is_written(dossier, run, reference):
    trial = dossier.record(setting=SETTING, run_time_min=41.0)
    table = read_table(f"{HEAD}{trial};1;41;{run};8\n;reference;;{reference};8\n",
                       dossier.job, dossier.trials)
    assert table.rejected == ()
    assert table.trials[0].recovery_percent[A][0] == 100.0


def test_rows_of_a_trial_agree_on_a_day_that_they_spell_differently(dossier):
    trial = dossier.record(setting=SETTING, run_time_min=41.0)
    table = read_table(f"trial;vessel;run_time_min;day;recovery_percent:{A}\n"
                       f"{trial};1;41;2026-03-10;88\n{trial};2;41;10.03.2026;89\n",
                       dossier.job, dossier.trials)
    assert table.is_clean
    again = read_table(f"trial;vessel;run_time_min;day;recovery_percent:{A}\n"
                       f"{trial};1;41;2026-03-10;88\n{trial};2;41;11.03.2026;89\n",
                       dossier.job, dossier.trials)
    assert "different values of day" in again.rejected[0].reason


def test_more_vessels_of_a_run_may_spell_its_day_in_their_own_way(dossier):
    trial = dossier.record(setting=SETTING, run_time_min=41.0, day="Day 1",
                           recovery_percent={A: [88.0]})
    dossier.record(trial, day="day 1", recovery_percent={A: [None, 90.0]})
    assert dossier.trial(trial).result.day == "Day 1"


def test_a_day_of_an_older_record_stays_when_something_else_is_corrected(dossier):
    trial = dossier.record(setting=SETTING, run_time_min=41.0, recovery_percent={A: [88.0]})
    held = result_payload(dossier.trial(trial).result) | {"day": "10.03.26"}
    dossier.note_event("corrected", {"trial": trial, "result": held, "reason": "the day",
                                     "replaces": dossier.events[-1].seq})
    assert read_result(held).day == "10.03.26"
    dossier.correct(trial, "the clock", run_time_min=42.0)
    assert dossier.trial(trial).result.day == "10.03.26"
