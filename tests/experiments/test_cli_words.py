"""What the command line says to people: numbers of things, and only what is so."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from experiments import cli
from experiments.differences import ALLOWANCE

JOB = Path(__file__).parents[2] / "examples" / "semivolatiles_to_dryness.toml"


@pytest.fixture
def say(tmp_path, monkeypatch, capsys):
    """Run a command that must succeed; gives what it says."""
    monkeypatch.setenv("BOILWRIGHT_STORE", str(tmp_path / "store.sqlite"))
    monkeypatch.setenv("BOILWRIGHT_USER", "Ada")

    def call(*words: object) -> str:
        assert cli.main([str(w) for w in words]) == 0
        return capsys.readouterr().out

    return call


def test_one_dossier_is_one_dossier(say, tmp_path):
    say("new", JOB, "--id", "soil")
    assert "history of 1 dossier (2 events) holds" in say("audit")
    assert "Backed up 1 dossier to" in say("backup", "-o", tmp_path / "all.zip")
    say("new", JOB, "--id", "other")
    assert "history of 2 dossiers (4 events) holds" in say("audit")


def test_a_lost_bench_sheet_is_written_again(say, tmp_path, capsys):
    say("new", JOB, "--id", "soil")
    first, again = tmp_path / "first.csv", tmp_path / "again.csv"
    said = say("sheet", "soil", "-o", first)
    assert f"Bench sheet of 1 pending trial written to {first}" in said
    say("sheet", "soil", "-o", again)
    assert first.read_bytes() == again.read_bytes()
    with first.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["trial"] for row in rows} == {"T1"}
    assert "history of 1 dossier (2 events) holds" in say("audit"), "nothing was proposed by it"
    again.write_text("trial,run_time_min,outcome\nT1,60,finished\n", "utf-8")
    say("record", "soil", again)
    assert cli.main(["sheet", "soil", "-o", str(first)]) == 2
    assert "There is no trial to run. Propose trials first." in capsys.readouterr().err


def test_a_comparison_says_once_what_its_verdicts_allow_for(say, tmp_path):
    say("new", JOB, "--id", "soil")
    table = tmp_path / "runs.csv"
    table.write_text(
        "trial,set_temperature_c,ramp_rate_mbar_per_min,end_pressure_mbar,run_time_min,"
        "recovery_percent:naphthalene\nT1,,,,60,88\n,45,40,120,41,83\n", "utf-8")
    say("record", "soil", table)
    time, recovery, reason = say("compare", "soil", "T1", "T2").splitlines()
    assert time.startswith("Run time: T2 against T1 is different")
    assert recovery.startswith("Recovery of naphthalene: T2 against T1 is")
    assert reason == ALLOWANCE


def test_a_new_version_says_whether_there_were_results(say, tmp_path):
    say("new", JOB, "--id", "soil")
    first = say("revise", "soil", "--reason", "agreed")
    assert "The previous version had no results." in first
    assert "Still to be run in soil, and staying there: T1." in first
    table = tmp_path / "result.csv"
    table.write_text("trial,run_time_min,outcome\nT1,60,finished\n", "utf-8")
    say("record", "soil", table)
    second = say("revise", "soil", "--reason", "agreed")
    assert "The results of the previous version count in this one." in second
    assert "Still to be run" not in second
    job = tmp_path / "other.toml"
    job.write_text(JOB.read_text("utf-8").replace("relative_centrifugal_force = ",
                                                  "relative_centrifugal_force = 1"), "utf-8")
    assert "It starts without the results" in say("revise", "soil", job, "--reason", "other rotor")
