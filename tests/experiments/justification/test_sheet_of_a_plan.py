"""The bench sheet of the confirmation runs, from the command line."""

from __future__ import annotations

import csv
import json

import pytest

from experiments import service
from experiments.bootstrap import local_user, open_store
from experiments.cli import main
from experiments.dossier import Dossier
from experiments.verification_entry import note_plan
from experiments.verification_runs import planned


@pytest.fixture
def store(job, fit, set_point, monkeypatch, tmp_path) -> str:
    """A store with a dossier "d" whose setting to verify is known."""
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    monkeypatch.setattr("experiments.verification_entry.setting_to_verify", lambda d: set_point)
    where = str(tmp_path / "s.sqlite")
    service.create(service.Session(open_store(where), local_user()), job, "d")
    return where


def loaded(store: str) -> Dossier:
    return service.load(service.Session(open_store(store), local_user()), "d")


def test_the_plan_is_made_once_and_its_sheet_can_be_written_again(store, tmp_path, capsys):
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    assert main(["--store", store, "--json", "verify", "d", "-o", str(first)]) == 0
    told = json.loads(capsys.readouterr().out)
    made = planned(loaded(store))
    assert [r["id"] for r in told["runs"]] == [r.id for r in made.runs]
    assert main(["--store", store, "verify", "d", "-o", str(second)]) == 0
    said = capsys.readouterr().out
    assert f"{made.criteria.runs} runs on {made.criteria.days} days" in said
    assert first.read_bytes() == second.read_bytes()
    assert sum(e.kind == "verification planned" for e in loaded(store).events) == 1
    with first.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["trial"] for row in rows} == {r.id for r in made.runs}
    assert all(row["day"] == "" for row in rows)


def test_a_plan_that_stands_is_not_made_anew(store, set_point, tmp_path):
    session = service.Session(open_store(store), local_user())
    service.change(session, "d", lambda d: note_plan(d, None, set_point))
    before = loaded(store).events
    assert main(["--store", store, "verify", "d", "-o", str(tmp_path / "sheet.xlsx")]) == 0
    assert loaded(store).events == before
    assert (tmp_path / "sheet.xlsx").stat().st_size > 1000


@pytest.mark.parametrize("also", [["table.csv"], ["--learn"]])
def test_a_sheet_is_not_asked_for_with_runs_that_were_made(store, tmp_path, capsys, also):
    sheet = tmp_path / "sheet.csv"
    assert main(["--store", store, "verify", "d", *also, "-o", str(sheet)]) == 2
    assert "Leave one of them out" in capsys.readouterr().err
    assert not sheet.exists()
