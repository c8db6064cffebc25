"""Standard streams and files that are closed or cannot be written."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from experiments.cli import main

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "semivolatiles_to_dryness.toml"


def in_shell(line: str, store: Path) -> subprocess.CompletedProcess[str]:
    """``{b}`` in the line stands for the program."""
    return subprocess.run(
        ["bash", "-c", line.format(b=f"{sys.executable} -m experiments.cli")],
        capture_output=True, text=True, check=False, cwd=ROOT,
        env={**os.environ, "BOILWRIGHT_STORE": str(store)})


@pytest.mark.parametrize("words", ["list", "list --json"])
def test_an_answer_that_cannot_be_written_is_said_and_is_no_no(tmp_path, words):
    # /dev/full refuses every write as a full disk does, see full(4)
    done = in_shell(f"{{b}} {words} > /dev/full", tmp_path / "s.sqlite")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "could not be written (No space left on device)" in done.stderr


@pytest.mark.parametrize(("line", "code"), [
    ("{b} list >&-", 0), ("{b} recommend nobody --json 2>&-", 2), ("{b} record x - <&-", 2),
    ("{b} recommend nobody 2> /dev/full", 2)])
def test_a_stream_that_is_closed_or_full_is_no_fault_of_the_program(tmp_path, line, code):
    done = in_shell(line, tmp_path / "s.sqlite")
    assert done.returncode == code
    assert "Traceback" not in done.stderr
    assert "Internal fault" not in done.stderr


def test_without_a_place_for_errors_the_answer_stays_json(tmp_path):
    done = in_shell(
        f"{{b}} new {EXAMPLE} --id soil >&- && "
        "printf 'trial\\n' | {b} record soil - --json 2>&-",
        tmp_path / "s.sqlite")
    assert done.returncode == 2
    assert json.loads(done.stdout)["accepted"] == []


@pytest.mark.parametrize("command", [["propose"], ["robustness"], ["report"], ["verify"]])
def test_an_output_that_cannot_be_written_is_refused_before_anything_is_saved(
    tmp_path, monkeypatch, capsys, command
):
    store = ["--store", str(tmp_path / "s.sqlite")]
    assert main([*store, "new", str(EXAMPLE), "--id", "soil"]) == 0
    (tmp_path / "folder.pdf").mkdir()
    assert main([*store, *command, "soil", "-o", str(tmp_path / "folder.pdf")]) == 2
    assert "is a folder" in capsys.readouterr().err
    monkeypatch.setattr("os.access", lambda path, mode: Path(path) != tmp_path)
    assert main([*store, *command, "soil", "-o", str(tmp_path / "sheet.pdf")]) == 2
    assert "Check your rights there" in capsys.readouterr().err
    assert main([*store, "audit", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["events"] == 2
