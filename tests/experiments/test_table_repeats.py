"""Rows without an id that would count a run twice are refused."""

from __future__ import annotations

import pytest

from experiments.results_table import read_table

A, B = "recovery_percent:diethyl phthalate", '"recovery_percent:1,2-dichlorobenzene"'
SETTING = {"set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 20.0, "end_pressure_mbar": 50.0}
FACTORS = ",".join(SETTING)
AT = ",".join(f"{v:g}" for v in SETTING.values())


@pytest.fixture
def held(dossier):
    """Two runs of one's own: one with recoveries, one with its time only."""
    dossier.record(setting=SETTING, run_time_min=41.5,
                   recovery_percent={"diethyl phthalate": [88.1, None, "<5"]})
    dossier.record(setting={**SETTING, "end_pressure_mbar": 60.0}, run_time_min=40.0)
    return dossier


def read(dossier, text):
    return read_table(text, dossier.job, dossier.trials)


def own(dossier):
    return [t.id for t in dossier.trials if t.result is not None]


def test_a_table_recorded_twice_is_refused(held):
    first, _ = own(held)
    rows = f"vessel,run_time_min,{FACTORS},{A}\n1,41.5,{AT},88.1\n3,41.5,{AT},<5\n"
    table = read(held, f"trial,{rows.replace(chr(10), chr(10) + ',', 2)}")
    (fault,) = table.rejected
    assert fault.row == 2
    assert f"This is trial {first} once more" in fault.reason
    assert f"write {first} into their trial cells" in fault.cure


def test_what_is_said_to_be_another_run_is_taken(held):
    table = read(held, f"trial,vessel,run_time_min,{FACTORS},{A},remark\n"
                       f",1,41.5,{AT},88.1,once more\n,3,41.5,{AT},<5,once more\n")
    assert table.is_clean


@pytest.mark.parametrize("change", ["41.5,40,20,50,88.2", "41.7,40,20,50,88.1",
                                    "41.5,41,20,50,88.1"])
def test_a_replicate_is_no_repeat(held, change):
    table = read(held, f"trial,vessel,run_time_min,{FACTORS},{A}\n,1,{change}\n")
    assert table.is_clean


def test_two_runs_without_readings_may_take_the_same_time(held):
    table = read(held, f"trial,run_time_min,{FACTORS}\n,40,40,20,60\n")
    assert table.is_clean


@pytest.mark.parametrize("order", ["1", ""])
def test_an_id_that_stands_in_the_first_row_only_is_asked_for(held, order):
    """Merged cells of a spreadsheet leave the rows below without one."""
    trial = next(t for t in held.trials if t.result is None)
    at = ",".join(f"{trial.setting[name]:.12g}" for name in SETTING)
    table = read(held, f"trial,run_order,vessel,run_time_min,{FACTORS},{A}\n"
                       f"{trial.id},{order},1,30,{at},90\n,{order},2,30,{at},91\n")
    (fault,) = table.rejected
    assert (fault.row, trial.id in fault.reason) == (3, True)
    assert f"Write {trial.id} into every row" in fault.cure


def test_merged_cells_without_settings_are_one_fault_with_its_cure(held):
    trial = next(t for t in held.trials if t.result is None)
    table = read(held, f"trial,vessel,run_time_min,{A}\n{trial.id},1,30,90\n,2,,91\n,3,,92\n")
    (fault,) = table.rejected
    assert (fault.row, fault.reason) == (3, "The row gives neither a trial nor settings.")
    assert "Write the trial into every row of it" in fault.cure


def test_a_setting_given_in_part_is_named_as_the_table_names_it(held):
    table = read(held, "trial,run_time_min,set_temperature_c,end_pressure_mbar\n,30,40,50\n")
    (fault,) = table.rejected
    assert fault.reason == "ramp_rate_mbar_per_min is missing."


def test_a_run_of_ones_own_at_the_same_setting_stands_below_a_trial(held):
    trial = next(t for t in held.trials if t.result is None)
    at = ",".join(f"{trial.setting[name]:.12g}" for name in SETTING)
    table = read(held, f"trial,vessel,run_time_min,{FACTORS},{A}\n"
                       f"{trial.id},1,30,{at},90\n{trial.id},2,30,{at},91\n"
                       f",1,31,{at},89\n,2,31,{at},88\n")
    assert table.is_clean
    assert [t.trial for t in table.trials] == [trial.id, None]


def test_a_space_after_the_colon_of_a_title_does_not_count(held):
    trial = next(t for t in held.trials if t.result is None)
    spaced = A.replace(":", ": ")
    table = read(held, f"trial,run_time_min,{spaced}\n{trial.id},30,91\n")
    assert table.trials[0].recovery_percent == {"diethyl phthalate": 91.0}
