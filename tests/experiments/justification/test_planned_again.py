"""A verification planned again: what the plan before it found is neither lost nor undone."""

from __future__ import annotations

import pytest

from experiments.acceptance import default_criteria
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.report.proof_part import earlier_plans
from experiments.verification import every_plan, verify, why_it_failed
from experiments.verification_entry import note_plan, note_runs, read_runs_table

BOTH = "recovery_percent:carvone,recovery_percent:dibutyl phthalate"
GOOD = f"trial,run_time_min,day,{BOTH}\n" + "".join(
    f"V{i},40,2026-03-1{i},{91 + i},{93 + i}\n" for i in (1, 2, 3))


@pytest.fixture
def failed(job, fit, monkeypatch, set_point):
    """A dossier whose first plan failed by a boil-over, with the same plan once more."""
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    dossier = Dossier.start(job, dossier_id="again")
    entered(dossier, "trial,outcome\nV1,boil-over\n", planned_anew(dossier, set_point))
    planned_anew(dossier, set_point)
    return dossier


def planned_anew(dossier, setting):
    return note_plan(dossier, default_criteria(dossier.job, runs=3, days=3), setting)


def entered(dossier, table, made):
    note_runs(dossier, made, read_runs_table(dossier, made, table))


def test_a_new_plan_alone_does_not_undo_a_failure(failed, set_point):
    assert verify(failed).decision == "not enough runs"
    assert "boil-over" in why_it_failed(failed, set_point)
    planned_anew(failed, {**set_point, "end_pressure_mbar": 61.0})
    assert "boil-over" in why_it_failed(failed, set_point)
    assert why_it_failed(failed, {**set_point, "end_pressure_mbar": 61.0}) == ""


def test_nothing_is_replayed_for_plans_of_other_settings(failed, set_point, monkeypatch):
    """Every page that shows a setting asks for this."""
    replayed = []
    held = Dossier.from_events.__func__
    monkeypatch.setattr(Dossier, "from_events", classmethod(
        lambda kind, events: replayed.append(len(events)) or held(kind, events)))
    assert why_it_failed(failed, {**set_point, "end_pressure_mbar": 61.0}) == ""
    assert replayed == []
    assert "boil-over" in why_it_failed(failed, set_point)
    assert replayed == [len(failed.events) - 1]


def test_passing_by_the_new_plan_does_and_the_report_tells_of_both(failed, set_point):
    entered(failed, GOOD, every_plan(failed)[-1][1].plan)
    assert [v.decision for _, v in every_plan(failed)] == ["fail", "pass"]
    assert why_it_failed(failed, set_point) == ""
    (told,) = earlier_plans(failed)
    assert "failed" in told.text
    assert "boil-over" in told.text
    assert told.records == (every_plan(failed)[0][0],)


def test_a_plan_replaced_before_its_first_run_needs_no_word(job, fit, monkeypatch, set_point):
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    dossier = Dossier.start(job, dossier_id="plain")
    assert every_plan(dossier) == []
    for _ in range(2):
        planned_anew(dossier, set_point)
    assert earlier_plans(dossier) == []


def test_no_plan_takes_the_place_of_the_one_a_method_was_verified_by(dossier):
    """It could be approved with a plan that no run has met."""
    for state in ("recommended", "verified"):
        dossier.move_to(state)
    with pytest.raises(EntryError, match="verified by the plan"):
        note_plan(dossier)
