"""With a file of roles the command line lets an account do what that file says, and no more."""

from __future__ import annotations

from pathlib import Path

import pytest

from experiments import approval, backup, cli, service, transfer
from experiments.bootstrap import open_store
from experiments.cli_commands import COMMANDS
from experiments.users import User

ROOT = Path(__file__).parents[2]
JOB = ROOT / "examples" / "semivolatiles_to_dryness.toml"
TABLE = ("trial;set_temperature_c;ramp_rate_mbar_per_min;end_pressure_mbar;run_time_min\n"
         ";45;50;120;40\n")
LOG = "time min,pressure mbar\n" + "".join(f"{i},{900 - i}\n" for i in range(12))

WRITING: dict[str, list[str]] = {
    "new": [str(JOB)], "propose": ["soil", "-n", "1"], "record": ["soil", "table.csv"],
    "attach": ["soil", "T1", "log.csv", "--accept"],
    "detach": ["soil", "T1", "--reason", "why"], "withdraw": ["soil", "T1"],
    "exclude": ["soil", "T1", "--reason", "why"], "include": ["soil", "T1", "--reason", "why"],
    "move": ["soil", "running"], "authorise": ["soil", "--by", "me", "--reason", "why"],
    "revise": ["soil"], "import": ["other.zip"], "restore": ["backup.zip"],
    "verify": ["soil", "table.csv"], "robustness": ["soil", "-o", "sheet.csv"],
    "example": ["semivolatiles_to_dryness"],
}
READING = {"window", "simulate", "sheet", "recommend", "list", "export", "backup", "audit",
           "report", "recompute", "transfer", "compare", "substance", "mixture", "benchmark",
           "doctor", "app"}
"""They change no dossier: the use-cases behind them are tested one by one."""


@pytest.fixture
def laboratory(tmp_path, monkeypatch):
    """A folder with a store, files to bring in, and a file of roles; ``act`` runs a command."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BOILWRIGHT_STORE", "store.sqlite")
    monkeypatch.setenv("BOILWRIGHT_ROLES", "roles.toml")
    monkeypatch.setenv("BOILWRIGHT_USER", "grace")  # a name anybody may set is not heard
    Path("roles.toml").write_text(
        'read = ["rhea"]\nenter = ["edda"]\napprove = ["grace"]\n', "utf-8")
    Path("table.csv").write_text(TABLE, "utf-8")
    Path("log.csv").write_text(LOG, "utf-8")
    head = service.Session(open_store("store.sqlite"), User("Ada", is_local=True))
    other = service.Session(open_store("memory"), User("Ada", is_local=True))
    service.create(head, JOB, "soil")
    service.record_table(head, "soil", TABLE)
    service.create(other, JOB, "other")
    approval.change_state(other, "other", "retired", "no longer used")
    Path("other.zip").write_bytes(transfer.export_dossier(other, "other"))
    Path("backup.zip").write_bytes(backup.back_up(other))
    yield head
    head.store.close()


def content(session: service.Session) -> list:
    found = service.summaries(session)
    return [found, [session.store.events(s.id) for s in found]]


def is_account(monkeypatch, name: str) -> None:
    monkeypatch.setattr("experiments.bootstrap._account", lambda: name)


def test_every_command_is_looked_at() -> None:
    assert sorted([*WRITING, *READING]) == sorted(COMMANDS)


@pytest.mark.parametrize("command", WRITING)
def test_a_reader_writes_nothing(laboratory, monkeypatch, capfd, command):
    is_account(monkeypatch, "rhea")
    before = content(laboratory)
    assert cli.main([command, *WRITING[command]]) == 2
    assert "rhea may not " in capfd.readouterr().err
    assert content(laboratory) == before


@pytest.mark.parametrize("words", [
    ["move", "soil", "approved"], ["move", "soil", "retired"],
    ["authorise", "soil", "--by", "me", "--reason", "why"], ["import", "other.zip"],
    ["restore", "backup.zip"],
])
def test_an_enterer_approves_nothing(laboratory, monkeypatch, capfd, words):
    is_account(monkeypatch, "edda")
    before = content(laboratory)
    assert cli.main(words) == 2
    assert "edda may not approve here." in capfd.readouterr().err
    assert content(laboratory) == before


def test_who_has_a_role_may_use_it_under_the_account(laboratory, monkeypatch, capfd):
    is_account(monkeypatch, "edda")
    assert cli.main(["record", "soil", "table.csv"]) == 0
    is_account(monkeypatch, "grace")
    assert cli.main(["move", "soil", "retired", "--reason", "no longer used"]) == 0
    events = laboratory.store.events("soil")
    assert [e.who for e in events[-2:]] == ["edda", "grace"]


def test_an_account_without_a_role_reads_nothing_and_the_doctor_still_looks(
    laboratory, monkeypatch, capfd
):
    is_account(monkeypatch, "nobody")
    for words in (["list"], ["audit"], ["export", "soil", "-o", "x.zip"],
                  ["backup", "-o", "x.zip"]):
        assert cli.main(words) == 2, words
        assert "nobody may not read here." in capfd.readouterr().err
    assert not Path("x.zip").exists()
    cli.main(["doctor"])  # whether all is well is another question
    assert "1 dossier, 4 events, every chain holds" in capfd.readouterr().out
