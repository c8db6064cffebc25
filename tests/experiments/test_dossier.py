"""The dossier without a store: entries, corrections, states, and the chain of its events."""

from __future__ import annotations

import csv
import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments import Dossier, DossierError
from experiments.bench_sheet import trial_sheet
from experiments.events import verify_chain
from experiments.job import Factor
from experiments.job_file import parse
from experiments.report.digits import NONE
from experiments.report.physics_part import design
from experiments.report.records import event_words
from experiments.trials import Recovery
from experiments.trials_csv import trials_csv
from tests.fuzzing import examples

PHTHALATE, BENZENE = "diethyl phthalate", "1,2-dichlorobenzene"


def unchanged(dossier, action):
    """Run ``action``, which must be refused with a cure and change nothing."""
    before = dossier.events, dossier.trials, dossier.state
    with pytest.raises(DossierError) as caught:
        action()
    assert (dossier.events, dossier.trials, dossier.state) == before
    assert caught.value.message
    assert caught.value.cure
    return str(caught.value)


def test_a_dossier_starts_as_a_draft_and_runs_from_its_first_trial(job, dossier):
    assert Dossier.start(job).state == "draft"
    assert dossier.state == "running"
    assert [t.id for t in dossier.pending] == ["T1", "T2"]


def test_todays_method_is_the_first_trial(job, setting):
    started = Dossier.start(dataclasses.replace(job, today=setting))
    (trial,) = started.trials
    assert (trial.id, trial.origin, trial.state, trial.setting) == (
        "T1", "today", "pending", setting)


def test_results_are_kept_by_vessel_and_as_means(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={
        PHTHALATE: [88.1, None, "<5"], BENZENE: 52})
    result = dossier.trial("T1").result
    assert result.recovery[PHTHALATE] == (Recovery(88.1), None, Recovery(5.0, censored=True))
    assert (result.recovery[BENZENE], result.is_mean[BENZENE]) == ((Recovery(52.0),), True)
    assert [t.id for t in dossier.pending] == ["T2"]


def test_vessels_may_come_one_after_another(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={PHTHALATE: [88.1]})
    dossier.record("T1", recovery_percent={PHTHALATE: [None, 90.0]})
    dossier.record("T1", recovery_percent={BENZENE: [50.0]})
    assert dossier.trial("T1").result.recovery[PHTHALATE] == (Recovery(88.1), Recovery(90.0))
    said = unchanged(dossier, lambda: dossier.record(
        "T1", recovery_percent={PHTHALATE: [None, 91.0]}))
    assert "vessel 2 is already recorded" in said


def test_later_readings_that_contradict_the_record_are_refused(dossier):
    dossier.record("T1", run_time_min=41.5, day="2026-03-02",
                   recovery_percent={PHTHALATE: [90.0]}, remark="first")
    later = {"recovery_percent": {PHTHALATE: [None, 91.0]}}
    assert "recorded as '2026-03-02'" in unchanged(
        dossier, lambda: dossier.record("T1", day="2026-03-03", **later))
    assert "without the correction" in unchanged(
        dossier, lambda: dossier.record("T1", corrected=True, **later))
    assert "longer than 20000" in unchanged(
        dossier, lambda: dossier.record("T1", remark="x" * 19_999, **later))
    dossier.record("T1", day="2026-03-02", remark="second", **later)
    assert (dossier.trial("T1").result.day, dossier.trial("T1").result.remark) == (
        "2026-03-02", "first; second")


def test_the_first_readings_say_whether_they_are_corrected(dossier):
    """A run time alone, as a log gives it, says nothing of the recoveries to come."""
    dossier.record("T1", run_time_min=41.5)
    dossier.record("T1", corrected=True, recovery_percent={PHTHALATE: [99.0]})
    assert dossier.trial("T1").result.corrected


def test_a_run_nobody_proposed_gets_the_next_id_inside_the_bounds_or_not(dossier, setting):
    outside = {**setting, "end_pressure_mbar": 3.0, "set_temperature_c": 75}
    assert dossier.record(setting=outside, run_time_min=20, recovery_percent={}) == "T3"
    assert dossier.trial("T3").setting == outside
    assert dossier.trial("T3").origin == "entered"


def test_an_unfinished_run_needs_no_run_time(dossier):
    dossier.record("T1", run_time_min=None, outcome="not dry", recovery_percent={})
    dossier.record("T2", run_time_min=None, outcome="aborted", recovery_percent={})
    assert [t.result.outcome for t in dossier.recorded] == ["not dry", "aborted"]


def test_a_second_record_does_not_make_an_unfinished_run_a_longer_one(dossier):
    """Without an outcome a run time is that of a finished run."""
    dossier.record("T1", run_time_min=None, outcome="not dry", recovery_percent={})
    said = unchanged(dossier, lambda: dossier.record(
        "T1", run_time_min=38.0, recovery_percent={PHTHALATE: 90.0}))
    assert "already recorded as 'not dry'" in said
    dossier.record("T1", run_time_min=240.0, outcome="not dry")
    assert dossier.trial("T1").result.run_time_min == 240.0


@pytest.mark.parametrize(("values", "said"), [
    ({"run_time_min": math.nan}, "finite"),
    ({"run_time_min": math.inf}, "finite"),
    ({"run_time_min": -1}, "not possible"),
    ({"run_time_min": 10**400}, "finite"),
    ({"run_time_min": True}, "must be a number"),
    ({"run_time_min": "41"}, "must be a number"),
    ({"run_time_min": None}, "needs its run time"),
    ({"run_time_min": 41, "outcome": "burnt"}, "'burnt' is not known"),
    ({"run_time_min": 41, "outcome": []}, "not known"),
    ({"run_time_min": 41, "recovery_percent": {"caffeine": 88}}, "'caffeine'"),
    ({"run_time_min": 41, "recovery_percent": {PHTHALATE: math.nan}}, "finite"),
    ({"run_time_min": 41, "recovery_percent": {PHTHALATE: [88, -1]}}, "not possible"),
    ({"run_time_min": 41, "recovery_percent": {PHTHALATE: "about 80"}}, "not understood"),
    ({"run_time_min": 41, "recovery_percent": {PHTHALATE: [1, 2, 3, 4, 5]}}, "5 recoveries"),
    ({"run_time_min": 41, "recovery_percent": [88.0]}, "by analyte"),
    ({"run_time_min": 41, "recovery_percent": {PHTHALATE: {}}}, "must be a number"),
    ({"run_time_min": 41, "remark": "\ud800"}, "control characters"),
    ({"run_time_min": 41, "remark": None}, "must be text"),
    ({"run_time_min": 41, "day": 5}, "must be text"),
    ({"run_time_min": 41, "corrected": "no"}, "neither True nor False"),
    ({"run_time_min": 41, "remark": "x" * 20_001}, "longer than 20000"),
])
def test_impossible_entries_change_nothing(dossier, values, said):
    assert said in unchanged(dossier, lambda: dossier.record("T1", **values))


@pytest.mark.parametrize("action", [
    lambda d, s: d.record("T9", run_time_min=41),
    lambda d, s: d.record(None, run_time_min=41),
    lambda d, s: d.record("T1", setting={**s, "end_pressure_mbar": 41}, run_time_min=41),
    lambda d, s: d.record(setting={"set_temperature_c": 45}, run_time_min=41),
    lambda d, s: d.record(setting={**s, "colour": 1}, run_time_min=41),
    lambda d, s: d.record(setting={**s, "end_pressure_mbar": math.nan}, run_time_min=41),
    lambda d, s: d.record(setting="fast", run_time_min=41),
    lambda d, s: d.withdraw("T9"),
    lambda d, s: d.withdraw(["T1"]),
    lambda d, s: d.exclude("T1", "no result yet"),
    lambda d, s: d.correct("T1", "no result yet", run_time_min=4),
    lambda d, s: d.include("T1", "was never excluded"),
    lambda d, s: d.propose(0),
    lambda d, s: d.propose(2.5),
    lambda d, s: d.forecast([s], level=1.5),
    lambda d, s: d.forecast([s], level="0.95"),
    lambda d, s: d.move_to("approved"),
    lambda d, s: d.move_to("gone"),
])
def test_what_makes_no_sense_changes_nothing(dossier, setting, action):
    unchanged(dossier, lambda: action(dossier, setting))


def test_a_withdrawn_trial_takes_no_result(dossier):
    dossier.withdraw("T2", "no time")
    assert [t.id for t in dossier.pending] == ["T1"]
    assert "was withdrawn" in unchanged(dossier, lambda: dossier.record("T2", run_time_min=9))
    unchanged(dossier, lambda: dossier.withdraw("T2"))


def test_a_correction_points_at_what_it_replaces_and_says_why(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={PHTHALATE: [88.1, 87.0]})
    recorded = dossier.events[-1]
    dossier.correct("T1", "read from the wrong line", recovery_percent={PHTHALATE: [78.1, 87.0]})
    event = dossier.events[-1]
    assert (event.kind, event.payload["replaces"], event.payload["reason"]) == (
        "corrected", recorded.seq, "read from the wrong line")
    assert dossier.trial("T1").result.recovery[PHTHALATE][0] == Recovery(78.1)
    assert dossier.trial("T1").result.run_time_min == 41.5
    assert recorded in dossier.events
    assert "reason is needed" in unchanged(
        dossier, lambda: dossier.correct("T1", "  ", run_time_min=40))


def test_an_exclusion_keeps_the_result_and_may_be_taken_back(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={PHTHALATE: 12.0})
    dossier.exclude("T1", "vessel cracked")
    assert dossier.recorded == ()
    assert dossier.trial("T1").result is not None
    unchanged(dossier, lambda: dossier.exclude("T1", "again"))
    dossier.include("T1", "it was another vessel")
    assert [t.id for t in dossier.recorded] == ["T1"]
    assert [c["reason"] for c in dossier.details.changes] == [
        "vessel cracked", "it was another vessel"]


def test_several_results_are_recorded_all_or_none(dossier):
    unchanged(dossier, lambda: dossier.record_all([
        {"trial_id": "T1", "run_time_min": 41.0}, {"trial_id": "T2", "run_time_min": -1}]))
    assert dossier.record_all([
        {"trial_id": "T1", "run_time_min": 41.0}, {"trial_id": "T2", "run_time_min": 42.0},
    ]) == ["T1", "T2"]


def test_numbers_and_arrays_of_numpy_are_numbers(dossier, setting):
    exact = {k: np.float32(v) for k, v in setting.items()}
    made = dossier.record(setting={**exact, "set_temperature_c": np.int64(45)},
                          run_time_min=np.float64(41.5),
                          recovery_percent={PHTHALATE: np.array([88.0, 89.0])})
    assert dossier.trial(made).result.recovery[PHTHALATE] == (Recovery(88.0), Recovery(89.0))
    assert dossier.trial(made).setting == setting


def test_only_legal_moves_between_states_and_new_results_set_it_running_again(dossier):
    dossier.record("T1", run_time_min=41.0)
    dossier.move_to("recommended")
    dossier.move_to("verified", "six runs passed")
    dossier.record("T2", run_time_min=41.0)
    assert dossier.state == "running"
    dossier.move_to("recommended")
    dossier.move_to("verified")
    dossier.move_to("approved", "for routine")
    for action in (
        lambda: dossier.record("T1", recovery_percent={PHTHALATE: 88}),
        lambda: dossier.correct("T1", "late", run_time_min=40),
        lambda: dossier.exclude("T1", "late"),
        lambda: dossier.propose(1),
        lambda: dossier.move_to("running"),
        lambda: dossier.change_job(dossier.job),
    ):
        unchanged(dossier, action)
    dossier.move_to("retired")
    unchanged(dossier, lambda: dossier.move_to("running"))
    assert [m["to"] for m in dossier.details.moves][-1] == "retired"


def test_the_job_may_change_while_only_todays_method_is_there(job, setting):
    started = Dossier.start(dataclasses.replace(job, today=setting))
    other = {**setting, "end_pressure_mbar": 99.0}
    started.change_job(dataclasses.replace(job, today=other, title="Renamed"))
    (trial,) = started.trials
    assert (trial.id, trial.setting, started.job.title) == ("T1", other, "Renamed")
    started.record("T1", run_time_min=30)
    unchanged(started, lambda: started.change_job(job))


def test_a_trial_from_before_a_factor_was_added_is_still_told(job, setting):
    """The history, the tables of trials and the report show settings as they were."""
    started = Dossier.start(job)
    started.note_event("proposed", {"trial": "T1", "setting": setting, "reason": "a start",
                                    "run_time_min": {}, "recovery_percent": {}})
    started.withdraw("T1")
    factors = (*(f for f in job.factors if f.name != "end_point_hold_min"),
               Factor("end_point_hold_min", 1.0, 4.0))
    started.change_job(dataclasses.replace(job, factors=factors))
    told = [event_words(started, e) for e in started.events]
    assert any("set temperature" in t and "hold" not in t for t in told)
    lines = list(csv.DictReader(trials_csv(started).splitlines()))
    assert lines[0]["end_point_hold_min"] == ""
    assert float(lines[0]["set_temperature_c"]) == setting["set_temperature_c"]
    _, table = design(SimpleNamespace(dossier=started)).blocks
    assert table.rows[0][1].text.endswith(f" / {NONE}")


def test_the_export_counts_trials_as_created_and_the_sheet_as_drawn(dossier):
    """The record does not know the order drawn for a sheet."""
    lines = list(csv.DictReader(trials_csv(dossier).splitlines()))
    assert [(line["trial"], line["run_order"]) for line in lines] == [("T1", "1"), ("T2", "2")]
    assert sorted(r.run_order for r in trial_sheet(dossier, ["T1", "T2"]).runs) == [1, 2]


def test_a_dossier_is_its_events(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={PHTHALATE: ["<5", 88.1]})
    dossier.correct("T1", "typing error", run_time_min=42.5)
    again = Dossier.from_events(dossier.events)
    assert again.trials == dossier.trials
    assert again.job == dossier.job
    assert again.details == dossier.details
    assert again.id == "bench1"


def test_no_events_make_no_dossier():
    with pytest.raises(DossierError, match="not those of a dossier"):
        Dossier.from_events([])


@pytest.mark.parametrize("spoil", [
    lambda e: dataclasses.replace(e[2], who="Mallory"),
    lambda e: dataclasses.replace(e[2], at="2026-01-01T00:00:00.000+00:00"),
    lambda e: dataclasses.replace(e[2], payload={**e[2].payload, "reason": "another"}),
    lambda e: dataclasses.replace(e[2], previous_hash=e[0].hash),
    lambda e: e[1],
])
def test_a_changed_event_breaks_the_chain_where_it_stands(dossier, spoil):
    events = list(dossier.events)
    assert verify_chain(events).holds
    events[2] = spoil(events)
    check = verify_chain(events)
    assert (check.holds, check.first_broken) == (False, 3)


def test_defaults_of_the_day_stay_with_the_record(job_mapping):
    job = parse(job_mapping, chemistry=False)
    events = Dossier.start(job).events
    stored = events[0].payload
    assert stored["assumed"]["equipment"]["condenser_power_w"] == 500.0
    assert "condenser_power_w" not in stored["job"]["equipment"]
    later = dataclasses.replace(events[0], payload={**stored, "assumed": {
        **stored["assumed"], "equipment": {
            **stored["assumed"]["equipment"], "condenser_power_w": 321.0}}})
    assert Dossier.from_events([later]).job.equipment.condenser_power_w == 321.0


odd = st.one_of(
    st.none(), st.booleans(), st.floats(), st.integers(), st.text(max_size=6),
    st.lists(st.floats() | st.text(max_size=3) | st.none(), max_size=5),
    st.dictionaries(st.text(max_size=3), st.floats(), max_size=2),
)


@settings(max_examples=examples(150), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(trial=st.sampled_from(["T1", "T2", "T9", None]) | odd, time=odd, outcome=odd,
       recovery=st.dictionaries(st.sampled_from([PHTHALATE, BENZENE, "x"]), odd, max_size=2) | odd)
def test_any_entry_is_taken_whole_or_refused_in_words(dossier, trial, time, outcome, recovery):
    before = dossier.events
    try:
        dossier.record(trial, run_time_min=time, outcome=outcome, recovery_percent=recovery)
    except DossierError:
        assert dossier.events == before
    assert verify_chain(dossier.events).holds
    assert Dossier.from_events(dossier.events).trials == dossier.trials
