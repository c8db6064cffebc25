"""The command line of the contract: JSON keys, exit codes, one sentence with a cure."""

from __future__ import annotations

import csv
import json
import os
import pty
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments import cli
from tests.experiments.instrument_logs import as_text, run_columns
from tests.fuzzing import examples

ROOT = Path(__file__).parents[2]
JOB = ROOT / "examples" / "semivolatiles_to_dryness.toml"
SETTING = ["--set-temperature-c", "45", "--ramp-rate-mbar-per-min", "50",
           "--end-pressure-mbar", "120"]


@pytest.fixture
def run(tmp_path, monkeypatch, capfd):
    """Run a command on a store of its own; gives exit code, standard output and error."""
    monkeypatch.setenv("BOILWRIGHT_STORE", str(tmp_path / "store.sqlite"))
    monkeypatch.setenv("BOILWRIGHT_USER", "Ada")

    def call(*words: object):
        capfd.readouterr()
        code = cli.main([str(w) for w in words])
        out, err = capfd.readouterr()
        return code, out, err

    return call


@pytest.fixture
def ask(run):
    """Run a command with --json, which must not go wrong; gives its answer."""

    def call(*words: object, code: int = 0):
        found, out, err = run(*words, "--json")
        assert (found, err) == (code, ""), err
        assert "NaN" not in out
        assert "Infinity" not in out
        return json.loads(out)

    return call


@pytest.fixture
def soil(ask):
    return ask("new", JOB, "--id", "soil")["id"]


def refused(run, *words: object, said: str = ""):
    """The command is refused: code 2, nothing on standard output, words on standard error."""
    code, out, err = run(*words)
    assert code == 2, out + err
    assert out == ""
    assert said in err
    assert "Traceback" not in err
    assert err.strip()
    return err


def table(path: Path, *rows: dict) -> Path:
    names = list(dict.fromkeys(n for row in rows for n in row))
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, names)
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_new_prints_the_id_and_list_shows_it(ask):
    made = ask("new", JOB)
    (line,) = ask("list")["dossiers"]
    assert set(line) >= {"id", "title", "state", "trials"}
    assert (line["id"], line["state"], line["trials"]) == (made["id"], "draft", 1)
    assert "equipment.chamber_volume_l" in made["assumed"]


def test_the_same_options_may_stand_before_the_command(run, tmp_path):
    code, out, _ = run("--store", tmp_path / "other.sqlite", "--json", "list")
    assert (code, json.loads(out)) == (0, {"dossiers": []})
    assert (tmp_path / "other.sqlite").exists()
    assert not (tmp_path / "store.sqlite").exists()


def test_substance(ask):
    found = ask("substance", "naphthalene", "--temperature-c", "25")
    assert set(found) >= {
        "name", "cas", "molar_mass_g_per_mol", "vapour_pressure_pa", "vapour_pressure_factor_95",
        "vapour_pressure_source", "normal_boiling_point_c", "enthalpy_of_vaporisation_j_per_mol",
        "density_kg_per_m3"}
    assert found["cas"] == "91-20-3"
    assert found["vapour_pressure_factor_95"] >= 1
    assert found["density_temperature_c"] == 20.0, "at whatever temperature it is asked"


def test_mixture(ask):
    found = ask("mixture", "acetone=0.6", "n-hexane=0.4", "--pressure-mbar", "1013.25")
    assert set(found) >= {"bubble_point_c", "vapour_mole_fraction", "activity_coefficient",
                          "azeotrope", "warnings"}
    assert set(found["azeotrope"]) == {"mole_fraction", "temperature_c"}
    assert sum(found["vapour_mole_fraction"].values()) == pytest.approx(1.0)


def test_two_liquid_phases_of_a_mixture_are_said(ask):
    found = ask("mixture", "water=0.5", "n-hexane=0.5")
    assert any("two liquid phases" in w for w in found["warnings"])


@pytest.mark.parametrize("source", ["file", "dossier"])
def test_simulate_takes_a_job_or_a_dossier(ask, soil, source):
    found = ask("simulate", JOB if source == "file" else soil, *SETTING)
    assert set(found) >= {"finished", "run_time_min", "recovery_percent", "peak_condenser_load_w",
                          "boil_over", "trace"}
    columns = ("time_min", "pressure_mbar", "liquid_temperature_c", "volume_ml",
               "condenser_load_w")
    assert len({len(found["trace"][name]) for name in columns}) == 1
    assert len(found["trace"]["time_min"]) > 10
    assert (found["run_time_min"] is not None) == found["finished"]


def test_a_run_that_does_not_finish_has_no_time(ask):
    slow = ["--set-temperature-c", "-20", "--ramp-rate-mbar-per-min", "1",
            "--end-pressure-mbar", "690"]
    found = ask("simulate", JOB, *slow)
    assert (found["finished"], found["run_time_min"]) == (False, None)


def test_record_takes_a_table_whole_or_not_at_all(ask, run, soil, tmp_path):
    row = {"trial": "T1", "run_time_min": "41.5", "recovery_percent:naphthalene": "71"}
    good = table(tmp_path / "good.csv", row)
    bad = table(tmp_path / "bad.csv", row, {**row, "trial": "T7"})
    code, out, err = run("record", soil, bad, "--json")
    assert code == 2
    assert "Row 3" in err
    assert json.loads(out)["accepted"] == []
    assert [(r["row"], set(r)) for r in json.loads(out)["rejected"]] == [
        (3, {"row", "reason", "cure"})]
    assert ask("record", soil, good)["accepted"] == ["T1"]
    refused(run, "record", soil, good, said="already recorded")
    (line,) = ask("list")["dossiers"]
    assert line["state"] == "running"


def test_a_table_may_come_from_standard_input(soil, tmp_path):
    text = "trial,run_time_min,recovery_percent:naphthalene\nT1,41.5,71\n"
    done = subprocess.run(
        [sys.executable, "-m", "experiments.cli", "record", soil, "-"], input=text, text=True,
        capture_output=True, check=True, cwd=ROOT, env=os.environ)
    assert "Recorded T1" in done.stdout


def test_trials_are_withdrawn_excluded_and_let_in_again(ask, run, soil, tmp_path):
    row = {"trial": "T1", "run_time_min": "41.5", "recovery_percent:naphthalene": "71"}
    ask("record", soil, table(tmp_path / "t.csv", row))
    ask("exclude", soil, "T1", "--reason", "power cut")
    ask("include", soil, "T1", "--reason", "it was the day before")
    refused(run, "withdraw", soil, "T1", said="not pending")
    refused(run, "exclude", soil, "T1")
    refused(run, "move", soil, "approved", said="cannot become")


def test_a_reason_is_asked_for(run, soil):
    refused(run, "exclude", soil, "T1", said="--reason")


def test_export_import_export_and_backup(ask, soil, tmp_path):
    ask("export", soil, "-o", tmp_path / "a.zip")
    other = ["--store", tmp_path / "other.sqlite"]
    assert ask("import", tmp_path / "a.zip", *other)["id"] == soil
    ask("export", soil, "-o", tmp_path / "b.zip", *other)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    ask("backup", "-o", tmp_path / "all.zip")
    third = ["--store", tmp_path / "third.sqlite"]
    assert ask("restore", tmp_path / "all.zip", *third)["ids"] == [soil]
    assert ask("audit", *third)["holds"]


def test_audit_names_the_first_broken_event(ask, run, soil, tmp_path):
    assert ask("audit") | {"dossiers": 0, "dossier": 0} == {
        "holds": True, "events": 2, "first_broken": None, "dossiers": 0, "dossier": 0}
    with sqlite3.connect(tmp_path / "store.sqlite") as connection:
        connection.execute("UPDATE audit_event SET who = 'Mallory' WHERE seq = 2")
    connection.close()
    found = ask("audit", code=1)
    assert (found["holds"], found["first_broken"], found["dossier"]) == (False, 2, soil)
    refused(run, "export", soil, "-o", tmp_path / "x.zip", said="broken at event 2")


def test_a_changed_job_starts_the_next_version(ask, soil, tmp_path):
    job = tmp_path / "changed.toml"
    job.write_text(JOB.read_text("utf-8").replace("assurance = 0.95", "assurance = 0.9"), "utf-8")
    found = ask("revise", soil, job, "--reason", "agreed with quality")
    assert (found["version"], found["previous"]) == (2, soil)
    assert found["changes"] == [{"path": "limits.assurance", "before": 0.95, "after": 0.9}]


def test_a_log_is_attached_once_its_columns_are_confirmed(ask, run, soil, tmp_path):
    log = tmp_path / "run.csv"
    log.write_text(as_text(run_columns(end_mbar=150.0, wall_c=35.0),
                           ("t s", "p mbar", "w", "cond in", "cond out")), "utf-8")
    said = refused(run, "attach", soil, "T1", log, said="not confirmed yet")
    assert "coolant in: 'cond in' in (which unit?)" in said
    refused(run, "attach", soil, "T1", log, "--accept", said="not confirmed yet")
    refused(run, "attach", soil, "T1", log, "--column", "pressure", said="names no column")
    refused(run, "attach", soil, "T9", log, "--accept", said="no trial 'T9'")
    named = [w for what, name in (("time", "t s:s"), ("pressure", "p mbar:mbar"),
                                  ("coolant_in", "cond in:C"), ("coolant_out", "cond out:degC"))
             for w in ("--column", f"{what}={name}")]
    answer = ask("attach", soil, "T1", log, *named, "--lid-closed-min", "0.5")
    assert answer["columns"]["coolant_in"] == ["cond in", "°C"]
    assert answer["readings"] == 540
    assert answer["suggested_run_time_min"] == pytest.approx(39.5, abs=0.1)
    assert answer["recorded_run_time_min"] is None
    assert answer["moments"]["end_point"]["min"] == pytest.approx(29.4, abs=0.5)
    again = ask("attach", soil, "T1", log, "--take-run-time")  # its columns are known by now
    assert again["recorded_run_time_min"] == again["suggested_run_time_min"]
    code, out, _ = run("attach", soil, "T1", log)
    assert code == 0
    assert "boiling begins" in out
    assert "is that of the log" in out
    refused(run, "detach", soil, "T1", "--reason", " ", said="reason")
    ask("detach", soil, "T1", "--reason", "of another run")
    assert ask("audit")["holds"]


def test_a_job_that_can_hurt_someone_waits_for_a_named_person(ask, run, tmp_path):
    text = JOB.read_text("utf-8").replace('"phenanthrene"', '"nitrobenzene"')
    text = text.replace('"85-01-8"', '"98-95-3"')
    job = tmp_path / "nitro.toml"
    job.write_text(text, "utf-8")
    name = ask("new", job)["id"]
    said = refused(run, "propose", name, "-n", "1", said="nitrobenzene")
    assert f"boilwright authorise {name}" in said
    ask("authorise", name, "--by", "Dr. Curie", "--reason", "traces only, behind a shield")
    refused(run, "authorise", name, "--by", "Eve", "--reason", "again", said="no authorisation")


@pytest.mark.parametrize(("words", "said"), [
    ([], "required"),
    (["frobnicate"], "invalid choice"),
    (["new"], "required"),
    (["new", "nowhere.toml"], "no file 'nowhere.toml'"),
    (["new", ROOT], "is a folder"),
    (["new", JOB, "--id", "../../x"], "cannot name a dossier"),
    (["new", JOB, "--id", "soil"], "already"),
    (["list", "--stor", "x"], "nrecognized"),
    (["list", "--store", "mysql://x"], "mysql"),
    (["list", "--store", "/nowhere/at/all.sqlite"], "no folder"),
    (["list", "--store", JOB], "damaged"),
    (["list", "--store", ""], "store is empty"),
    (["propose", "nowhere"], "no dossier 'nowhere'"),
    (["propose", "soil", "-n", "0"], "cannot be proposed"),
    (["propose", "soil", "-n", "many"], "not a whole number"),
    (["propose", "soil", "-o", "sheet.doc"], "no ending"),
    (["propose", "soil", "-o", "/nowhere/sheet.csv"], "no folder"),
    (["record", "soil", "nowhere.csv"], "No such file"),
    (["record", "soil", ROOT], "directory"),
    (["attach", "soil", "T1", "nowhere.csv"], "No such file"),
    (["attach", "soil", "T1", JOB], "No header"),
    (["detach", "soil", "T1", "--reason", "x"], "has no log"),
    (["simulate", JOB, *SETTING[:4]], "required"),
    (["simulate", JOB, *SETTING[:5], "20,5"], "'20,5' is not a number, such as 45.5"),
    (["simulate", JOB, *SETTING[:5], "nan"], "finite"),
    (["app", "--port", "99999"], "not a port, 1 to 65535"),
    (["compare", "soil", "T99"], "no trial and no dossier 'T99'"),
    (["simulate", JOB, *SETTING[:5], "-3"], "at least 0.001"),
    (["simulate", JOB, *SETTING, "--keeper", "n-dodecane"], "no factor"),
    (["report", "soil", "-o", "report.pdf"], "no results"),
    (["report", "soil", "-o", "report.odt"], "no ending"),
    (["export", "soil", "-o", "/nowhere/x.zip"], "No such file"),
    (["import", JOB], "not a readable export"),
    (["restore", JOB], "not a readable export"),
    (["substance", ""], "Unknown substance"),
    (["mixture", "acetone"], "NAME=MOLE_FRACTION"),
    (["mixture", "acetone=nan"], "NAME=MOLE_FRACTION"),
    (["compare", "soil", "T1", "T9"], "no trial 'T9'"),
    (["mixture", "acetone=0.6"], "add to"),
    (["mixture", "acetone=1", "--pressure-mbar=-1"], "pressure of -1 mbar is not possible"),
    (["mixture", "acetone=1", "--pressure-mbar=1e9"], "at 1e+09 mbar"),
    (["benchmark", "--benches", "0"], "0 benches cannot be played"),
    (["mixture", "acetone=0.5", "acetone=0.5"], "twice"),
    (["revise", "soil", "nowhere.toml"], "no file 'nowhere.toml'"),
    (["move", "soil", "\udcff"], "cannot become"),
    (["example", "nothing"], "no example"),
])
def test_bad_input_is_one_sentence_with_a_cure(run, soil, words, said, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    refused(run, *words, said=said)


def test_every_fault_of_a_job_file_is_said_at_once(run, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text(JOB.read_text("utf-8").replace("vessels = 12", 'vessels = "twelve"').replace(
        "fill_volume_ml = 45", "fill_volume_ml = 450"), "utf-8")
    lines = refused(run, "new", job).splitlines()
    assert [line.split(":")[0] for line in lines] == [
        "equipment.vessels", "sample.fill_volume_ml"]


def test_an_internal_fault_is_70_and_says_what_to_do(run, monkeypatch):
    from experiments import cli_commands

    def fail(arguments):
        raise RuntimeError("unforeseen")

    monkeypatch.setitem(cli_commands.COMMANDS, "list", fail)
    code, out, err = run("list")
    assert (code, out) == (70, "")
    assert "unforeseen" in err
    assert "Traceback" not in err


def test_help_answers_without_loading_the_models():
    code = ("import sys; from experiments.cli import main; main(['--help'])\n"
            "assert not {'numpy', 'numba', 'sqlalchemy', 'tqdm'} & set(sys.modules)")
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, cwd=ROOT)


def test_the_record_is_kept_without_loading_the_models(soil, tmp_path):
    """Entering and listing must not wait for the compiled kernels and for statistics."""
    (tmp_path / "table.csv").write_text(
        "trial;set_temperature_c;ramp_rate_mbar_per_min;end_pressure_mbar;run_time_min\n"
        ";45;50;120;40\n", "utf-8")
    code = ("import sys; from experiments.cli import main\n"
            "for words in (['list'], ['record', 'soil', 'table.csv'], ['audit'],\n"
            "              ['exclude', 'soil', 'T2', '--reason', 'spilt']):\n"
            "    assert main(words) == 0\n"
            "    assert not {'numba', 'scipy', 'pandas', 'altair'} & set(sys.modules), words")
    subprocess.run([sys.executable, "-c", code], check=True, cwd=tmp_path,
                   env={**os.environ, "PYTHONPATH": str(ROOT)})


def test_a_reader_that_closes_the_pipe_is_no_fault(tmp_path):
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m experiments.cli list; "
         f"{sys.executable} -m experiments.cli --help | head -1; echo ${{PIPESTATUS[0]}}"],
        capture_output=True, text=True, check=True, cwd=ROOT,
        env={**os.environ, "BOILWRIGHT_STORE": str(tmp_path / "s.sqlite")})
    assert "Traceback" not in done.stderr
    assert done.stderr == ""


def test_work_that_takes_longer_than_a_second_shows_a_bar():
    code = ("import time; from experiments.cli_output import progress\n"
            "with progress('learning') as step:\n"
            "    step(0.3, 'weighing'); time.sleep(2.2); step(0.6, 'choosing'); time.sleep(0.6)")
    reader, writer = pty.openpty()
    process = subprocess.Popen([sys.executable, "-c", code], stderr=writer, cwd=ROOT)
    os.close(writer)
    shown = b""
    try:
        while part := os.read(reader, 4096):
            shown += part
    except OSError:  # the terminal closes with its last writer
        pass
    os.close(reader)
    assert process.wait() == 0
    assert b"weighing:  30%" in shown
    assert b"choosing:  60%" in shown


words = st.sampled_from(["list", "new", "record", "attach", "audit", "propose", "sheet",
                         "simulate", "export", "import", "move", "withdraw", "mixture", "--json",
                         "--store", "-n", "-o", "soil", "T1", "x", "", "-", "--", "1e400",
                         "acetone=0.5"])


@settings(max_examples=examples(60), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(words | st.text(max_size=5).filter(lambda t: "\x00" not in t), max_size=5))
def test_any_words_end_in_a_code_of_the_contract(run, soil, monkeypatch, tmp_path, typed):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", open(os.devnull))  # noqa: SIM115 - closed with the process
    code, _, err = run(*typed)
    assert code in (0, 1, 2)
    assert "Traceback" not in err
