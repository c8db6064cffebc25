"""Values that no evaporator can have are refused where they are given, with the limit named."""

from __future__ import annotations

import pandas as pd
import pytest

from experiments import Dossier
from experiments.bench_sheet import sheet_cautions
from experiments.entries import EntryError
from experiments.event_checks import check_events
from experiments.job_file import JobError, parse
from experiments.predicted_run import predicted_run


@pytest.mark.parametrize(("change", "said"), [
    ({"end_pressure_mbar": 1e-6}, "at least 0.001 mbar"),
    ({"ramp_rate_mbar_per_min": 1e-300}, "at least 0.001 mbar/min"),
    ({"end_pressure_mbar": 600.0}, "not below the start of the ramp at 600 mbar"),
])
def test_a_setting_that_no_run_can_have_is_not_recorded(dossier, setting, change, said):
    with pytest.raises(EntryError, match=said):
        dossier.record(setting={**setting, **change}, run_time_min=30)


@pytest.mark.parametrize(("setting", "path", "said"), [
    ({"keeper_volume_ml": 31.0}, "keeper_volume_ml", "with the fill of 30 mL is above the "
     "vessel's 60 mL"),
    ({"end_volume_ml": 30.0}, "end_volume_ml", "not below the fill of 30 mL"),
    ({"end_volume_ml": 0.4, "keeper_volume_ml": 0.5}, "end_volume_ml",
     "not above the keeper's 0.5 mL"),
])
def test_volumes_that_no_vessel_can_hold_are_refused_in_a_setting_and_in_the_job(
    job_mapping, setting, path, said
):
    job_mapping["sample"] |= {"keeper": {"name": "n-dodecane", "volume_ml": 0.5},
                              "end_volume_control": "weighing"}
    job_mapping["factors"] |= {"keeper_volume_ml": {"low": 0.2, "high": 1.0},
                               "end_volume_ml": {"low": 2.0, "high": 5.0}}
    whole = {"set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 20.0, "end_pressure_mbar": 50.0,
             "keeper_volume_ml": 1.5, "end_volume_ml": 0.0} | setting
    job = parse(job_mapping)
    for refuse in (Dossier.start(job).forecast, lambda s: predicted_run(job, s[0]),
                   lambda s: Dossier.start(job).record(setting=s[0], run_time_min=30)):
        with pytest.raises(EntryError, match=said) as refused:
            refuse([whole])
        assert refused.value.message.startswith(f"setting.{path} ")
    job_mapping["today"] = {"setting": whole}
    with pytest.raises(JobError, match=said) as faults:
        parse(job_mapping)
    assert [f.path for f in faults.value.faults] == [f"today.setting.{path}"]


@pytest.mark.parametrize(("entry", "said"), [
    ({"run_time_min": 1e9}, "Give minutes, 0.01 to 100000"),
    ({"run_time_min": 1e-300}, "Give minutes, 0.01 to 100000"),
    ({"run_time_min": 30, "recovery_percent": {"diethyl phthalate": 5000}}, "0 to 1000"),
])
def test_what_is_possible_is_said(dossier, entry, said):
    with pytest.raises(EntryError) as refused:
        dossier.record("T1", **entry)
    assert said in refused.value.cure


def test_a_record_that_was_made_before_a_setting_was_refused_still_opens(
    dossier, setting, monkeypatch
):
    kept = {**setting, "end_pressure_mbar": 600.0}
    with monkeypatch.context() as before:
        before.setattr("experiments.dossier.check_setting", lambda _, given: dict(given))
        dossier.record(setting=kept, run_time_min=30)
    assert check_events(dossier.events) == dossier.id
    assert Dossier.from_events(dossier.events).trials[-1].setting == kept


def test_nothing_below_zero_is_told_from_zero(dossier):
    with pytest.raises(EntryError, match="A recovery of <0 % for diethyl phthalate"):
        dossier.record("T1", run_time_min=30, recovery_percent={"diethyl phthalate": "<0"})


def test_an_impossible_molar_mass_is_marked_at_its_own_field(job_mapping):
    job_mapping["analytes"] = [{
        "name": "QX", "target_recovery_percent": 80, "molar_mass_g_per_mol": 0.3,
        "vapour_pressure": [{"temperature_c": 25, "pressure_pa": 1.0}]}]
    with pytest.raises(JobError) as refused:
        parse(job_mapping)
    assert [f.path for f in refused.value.faults] == ["analytes[0].molar_mass_g_per_mol"]


def test_a_trap_that_is_too_small_is_said_of_a_run_and_on_its_sheet(job_mapping, setting):
    job_mapping["equipment"]["condenser_capacity_ml"] = 10
    job = parse(job_mapping)
    said = ("A batch makes up to 120 mL of condensate and the trap holds 10 mL: "
            "empty it during the batch, or load less.")
    assert said in predicted_run(job, setting)["findings"]
    assert said in sheet_cautions(job)


def test_a_hold_longer_than_the_run_may_take_is_named(job_mapping, setting):
    job_mapping["equipment"]["end_point_hold_min"] = 300
    answer = predicted_run(parse(job_mapping), setting)
    assert not answer["finished"]
    assert any("as long as the end-point hold" in f for f in answer["findings"])


LINES = pd.Series([1.0, 2.0])


@pytest.mark.parametrize("value", [10**400, "x" * 30_000, LINES, LINES.to_numpy()],
                         ids=["huge", "long", "lines", "array"])
def test_what_is_no_answer_at_all_is_shown_on_one_short_line(dossier, setting, value):
    """An array was once asked for its truth, and a text of any length was repeated whole."""
    before = dossier.events
    for act in (
        lambda: dossier.trial(value), lambda: dossier.withdraw(value),
        lambda: dossier.move_to(value), lambda: dossier.propose(value),
        lambda: dossier.forecast([], level=value), lambda: dossier.recommend(robust=value),
        lambda: dossier.forecast([{**setting, "set_temperature_c": value}]),
        lambda: dossier.record("T1", run_time_min=30, outcome=value),
        lambda: dossier.record("T1", run_time_min=value),
    ):
        with pytest.raises(EntryError) as refused:
            act()
        assert len(str(refused.value)) < 250
        assert "\n" not in str(refused.value)
    assert dossier.events == before
