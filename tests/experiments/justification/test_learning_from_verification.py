"""Runs of a failed verification become trials: once, by name, and never proof a second time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from experiments import service
from experiments.acceptance import default_criteria
from experiments.bootstrap import local_user, open_store
from experiments.cli import main
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import DossierStore
from experiments.transfer import export_dossier, import_dossier
from experiments.trials import RunOfPlan
from experiments.verification import verify
from experiments.verification_entry import (
    correct_run,
    learn_from_verification,
    note_plan,
    record_verification,
)
from experiments.verification_runs import recorded_runs, run_payload

HEAD = "trial,run_time_min,outcome,day,recovery_percent:carvone,recovery_percent:dibutyl phthalate"
RUNS = "V1,40,finished,2026-03-01,62,92\nV2,41,finished,2026-03-02,63,93\n"
LAST = "V3,,boil-over,2026-03-03,,\n"


@pytest.fixture
def session(job, fit, set_point, monkeypatch) -> service.Session:
    return begun(MemoryStore(), job, fit, set_point, monkeypatch)


def begun(store: DossierStore, job, fit, set_point, monkeypatch) -> service.Session:
    """A dossier "d" with a plan of three runs, two of which are recorded."""
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    session = service.Session(store, local_user())
    service.create(session, job, "d")
    service.change(session, "d", lambda d: note_plan(
        d, default_criteria(job, runs=3, days=3), set_point))
    record_verification(session, "d", f"{HEAD}\n{RUNS}")
    return session


def test_runs_of_a_failed_verification_are_taken_over_once_and_under_their_names(session):
    with pytest.raises(EntryError, match="no run of a failed verification"):
        learn_from_verification(session, "d")
    record_verification(session, "d", f"{HEAD}\n{LAST}")
    dossier, ids = learn_from_verification(session, "d")
    runs = recorded_runs(dossier, dossier.trial("T1").setting)
    assert ids == ["T1", "T2", "T3"]
    assert [t.result for t in dossier.recorded] == [r.result for r in runs]
    plan = next(e.seq for e in dossier.events if e.kind == "verification planned")
    assert [t.run_of for t in dossier.trials] == [RunOfPlan(plan, f"V{n}") for n in (1, 2, 3)]
    with pytest.raises(EntryError, match="no run of a failed verification"):
        learn_from_verification(session, "d")
    assert len(service.load(session, "d").trials) == 3


def test_a_run_taken_over_does_not_count_for_a_verification_again(session, job, set_point):
    record_verification(session, "d", f"{HEAD}\n{LAST}")
    before = verify(service.load(session, "d"))
    dossier, _ = learn_from_verification(session, "d")
    after = verify(dossier)
    assert after == before
    assert after.decision == "fail"
    note_plan(dossier, default_criteria(job, runs=3, days=3), set_point)
    assert recorded_runs(dossier, set_point) == []
    with pytest.raises(EntryError, match="no run of a failed verification"):
        dossier.learn_from_verification()


def test_a_further_run_and_the_same_name_in_another_plan_are_other_runs(session, job, set_point):
    record_verification(session, "d", f"{HEAD}\n{LAST}")
    learn_from_verification(session, "d")
    record_verification(session, "d", f"{HEAD}\n,42,finished,2026-03-04,64,91\n")
    assert learn_from_verification(session, "d")[1] == ["T4"]
    service.change(session, "d", lambda d: note_plan(
        d, default_criteria(job, runs=3, days=3), set_point))
    record_verification(session, "d", f"{HEAD}\nV1,,boil-over,2026-04-01,,\n")
    assert learn_from_verification(session, "d")[1] == ["T5"]


def test_a_run_whose_blank_is_too_high_teaches_nothing(session, set_point):
    record_verification(session, "d", f"{HEAD}\n{LAST}")
    good = recorded_runs(service.load(session, "d"), set_point)[0]
    dirty = replace(good, id="V4", blank_percent={"carvone": 35.0})
    service.change(session, "d", lambda d: d.note_event("verification recorded",
                                                        run_payload(dirty)))
    dossier, _ = learn_from_verification(session, "d")
    assert [t.run_of.run for t in dossier.trials] == ["V1", "V2", "V3"]


def test_a_correction_of_a_run_corrects_its_trial_and_not_the_other_way_round(session):
    record_verification(session, "d", f"{HEAD}\n{LAST}")
    learn_from_verification(session, "d")
    with pytest.raises(EntryError, match="Trial T1 is verification run V1") as told:
        service.correct(session, "d", "T1", "typed wrongly", run_time_min=44.0)
    assert "page Verify" in told.value.cure
    dossier = correct_run(session, "d", "V1", "typed wrongly", run_time_min=44.0)
    run = recorded_runs(dossier, dossier.trial("T1").setting)[0]
    assert run.result == dossier.trial("T1").result
    assert run.result.run_time_min == 44.0


def test_the_taking_over_survives_an_export(session):
    record_verification(session, "d", f"{HEAD}\n{LAST}")
    dossier, _ = learn_from_verification(session, "d")
    other = service.Session(MemoryStore(), local_user())
    moved = service.load(other, import_dossier(other, export_dossier(session, "d")).id)
    assert moved.trials == dossier.trials


def test_the_command_takes_them_over_and_says_which(
    job, fit, set_point, monkeypatch, tmp_path: Path, capsys
):
    where = str(tmp_path / "laboratory.sqlite")
    session = begun(open_store(where), job, fit, set_point, monkeypatch)
    last = tmp_path / "last.csv"
    assert main(["--store", where, "verify", "d", "--learn"]) == 2
    last.write_text(f"{HEAD}\n{LAST}", "utf-8")
    assert main(["--store", where, "verify", "d", str(last), "--learn"]) == 0
    said = capsys.readouterr().out
    assert "Decision: fail" in said
    assert "T1, T2 and T3" in said
    assert len(service.load(session, "d").recorded) == 3
