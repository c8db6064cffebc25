"""Every use-case minds the roles: those of today by a call each, those to come by their absence.

The use-cases are found by their first parameter, a session or a store; one that is not in the
tables below fails the test, so that none can be added without its role having been looked at.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import experiments
from experiments import (
    approval,
    backup,
    drafts,
    example_dossiers,
    run_logs,
    service,
    transfer,
    verification_entry,
)
from experiments.dossier import Dossier
from experiments.event_checks import role_for
from experiments.events import KINDS, link
from experiments.log_columns import proposed
from experiments.log_file import read_log_file
from experiments.storage import protocol
from experiments.storage.memory import MemoryStore
from experiments.users import NotAllowed, Role, User
from tests.experiments.instrument_logs import as_text, run_columns

TABLE = "trial;run_time_min\nT2;40\n"
LOG = read_log_file(as_text(run_columns()))
COLUMNS = proposed(LOG.headers, LOG.first()).choices
D = "bench1"
Call = Callable[[service.Session, SimpleNamespace], Any]

WRITING: dict[str, Call] = {
    "approval.change_state": lambda s, m: approval.change_state(s, D, "running"),
    "approval.new_version": lambda s, m: approval.new_version(s, D),
    "backup.restore": lambda s, m: backup.restore(s, m.backup),
    "drafts.keep_draft": lambda s, m: drafts.keep_draft(s, "job", {"title": "x"}),
    "example_dossiers.load": lambda s, m: example_dossiers.load(
        s.store, example_dossiers.names()[0].key, s.user),
    "run_logs.attach": lambda s, m: run_logs.attach(s, D, "T2", LOG, "x.csv", COLUMNS),
    "run_logs.remove": lambda s, m: run_logs.remove(s, D, "T1", "why"),
    "run_logs.take_run_time": lambda s, m: run_logs.take_run_time(s, D, "T1"),
    "service.append": lambda s, m: service.append(s, m.longer, m.held),
    "service.authorise": lambda s, m: service.authorise(s, D, "Dr. Who", "why"),
    "service.change": lambda s, m: service.change(s, D, lambda d: d.withdraw("T2")),
    "service.change_job": lambda s, m: service.change_job(s, D, m.job),
    "service.correct": lambda s, m: service.correct(s, D, "T1", "why", run_time_min=3),
    "service.create": lambda s, m: service.create(s, m.job),
    "service.exclude": lambda s, m: service.exclude(s, D, "T1", "why"),
    "service.include": lambda s, m: service.include(s, D, "T1", "why"),
    "service.plan_robustness": lambda s, m: service.plan_robustness(s, D),
    "service.propose": lambda s, m: service.propose(s, D, 1),
    "service.record": lambda s, m: service.record(s, D, "T2", run_time_min=40),
    "service.record_table": lambda s, m: service.record_table(s, D, TABLE),
    "service.withdraw": lambda s, m: service.withdraw(s, D, "T2"),
    "transfer.import_dossier": lambda s, m: transfer.import_dossier(s, m.export),
    "verification_entry.plan_verification":
        lambda s, m: verification_entry.plan_verification(s, D),
    "verification_entry.record_verification":
        lambda s, m: verification_entry.record_verification(s, D, TABLE),
    "verification_entry.learn_from_verification":
        lambda s, m: verification_entry.learn_from_verification(s, D),
    "verification_entry.correct_run":
        lambda s, m: verification_entry.correct_run(s, D, "V1", "why", run_time_min=3),
    "verification_entry.verify_dossier":
        lambda s, m: verification_entry.verify_dossier(s, m.longer, TABLE),
}
READING: dict[str, Call] = {
    "backup.back_up": lambda s, m: backup.back_up(s),
    "drafts.drafts": lambda s, m: drafts.drafts(s),
    "run_logs.propose_columns": lambda s, m: run_logs.propose_columns(s, m.bare, LOG),
    "service.audit": lambda s, m: service.audit(s),
    "service.load": lambda s, m: service.load(s, D),
    "service.note_answer":
        lambda s, m: service.note_answer(s, m.longer, SimpleNamespace(status="recommended")),
    "service.preview_table": lambda s, m: service.preview_table(s, D, TABLE),
    "service.recommend": lambda s, m: service.recommend(s, D),
    "service.report": lambda s, m: service.report(s, D, ".html"),
    "service.summaries": lambda s, m: service.summaries(s),
    "transfer.export_dossier": lambda s, m: transfer.export_dossier(s, D),
}
"""They write at most to the log of the store."""


def approving(dossier: Dossier) -> None:
    dossier.note_event("authorised", {"codes": [], "messages": [], "by": "me", "reason": "x"})


APPROVING: dict[str, Call] = {
    "approve": lambda s, m: approval.change_state(s, D, "approved"),
    "retire": lambda s, m: approval.change_state(s, D, "retired"),
    "authorise": lambda s, m: service.authorise(s, D, "Dr. Who", "why"),
    "restore": lambda s, m: backup.restore(s, m.backup),
    "import": lambda s, m: transfer.import_dossier(s, m.retired),
    "any change": lambda s, m: service.change(s, D, lambda d: d.move_to("retired")),
    "any event": lambda s, m: service.change(s, D, approving),
    "append": lambda s, m: (approving(m.longer), service.append(s, m.longer, m.held)),
}


def functions() -> dict[str, Callable[..., Any]]:
    """Public functions of a session or a store, apart from the commands, which call them."""
    found = {}
    for info in pkgutil.iter_modules(experiments.__path__):
        module = importlib.import_module(f"experiments.{info.name}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            kinds = [str(p.annotation) for p in inspect.signature(function).parameters.values()]
            if function.__module__ == module.__name__ and not name.startswith("_") and any(
                "Session" in k or "DossierStore" in k for k in kinds
            ):
                found[f"{info.name}.{name}"] = function
    return found


@pytest.fixture
def made(dossier, job, monkeypatch):
    """A store with a dossier: a result with its log, a pending trial; and files of others."""
    store = MemoryStore()
    ada = service.Session(store, User("Ada"))
    service.append(ada, dossier, 0)
    bare = service.record(ada, D, "T1", run_time_min=41.0)
    run_logs.attach(ada, D, "T1", LOG, "run.csv", COLUMNS)
    other = service.Session(MemoryStore(), User("Ada", is_local=True))
    service.create(other, job, "other")
    export = transfer.export_dossier(other, "other")
    approval.change_state(other, "other", "retired", "no longer used")
    longer = service.load(ada, D)
    held = len(longer.events)
    longer.withdraw("T2")
    monkeypatch.setattr(Dossier, "recommend", lambda *_: SimpleNamespace(status="recommended"))
    monkeypatch.setattr("experiments.report.render", lambda *_, **__: b"a report")
    return SimpleNamespace(
        store=store, job=job, bare=bare, longer=longer, held=held, export=export,
        retired=transfer.export_dossier(other, "other"), backup=backup.back_up(other))


def content(store: MemoryStore) -> list[Any]:
    summaries = store.summaries()
    return [summaries, [store.events(s.id) for s in summaries],
            [store.drafts(name) for name in ("Rhea", "Edda", "Nobody", "Ada")]]


def session(made: SimpleNamespace, name: str, *roles: Role) -> service.Session:
    return service.Session(made.store, User(name, frozenset(roles)))


def test_every_use_case_is_looked_at() -> None:
    assert sorted(functions()) == sorted([*WRITING, *READING])


def test_nothing_else_writes_to_a_store() -> None:
    """Calls of the writing methods of a store, and of the function that appends to one."""
    found = set()
    for folder in ("experiments", "wizard"):
        for path in (Path(experiments.__path__[0]).parent / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Attribute) and node.attr in (
                    "extend", "note", "save_draft"
                ) and ast.unparse(node.value).endswith("store"):
                    found.add((path.stem, node.attr))
                if isinstance(node, ast.ImportFrom) and node.module == protocol.__name__:
                    found |= {(path.stem, a.name) for a in node.names if a.name == "append"}
    assert found == {
        ("protocol", "extend"), ("service", "append"), ("service", "extend"), ("service", "note"),
        ("backup", "note"), ("transfer", "note"), ("drafts", "save_draft"),
    }


@pytest.mark.parametrize("name", WRITING)
def test_a_reader_writes_nothing(made, name) -> None:
    before = content(made.store)
    with pytest.raises(NotAllowed) as caught:
        WRITING[name](session(made, "Rhea", "read"), made)
    assert caught.value.cure
    assert content(made.store) == before


@pytest.mark.parametrize("name", READING)
def test_reading_changes_no_dossier_and_no_form(made, name) -> None:
    before = content(made.store)
    READING[name](session(made, "Rhea", "read"), made)
    assert content(made.store) == before


@pytest.mark.parametrize("name", [*WRITING, *READING])
def test_a_stranger_does_not_even_read(made, name) -> None:
    before = content(made.store), made.store.notes()
    with pytest.raises(NotAllowed):
        {**WRITING, **READING}[name](session(made, "Nobody"), made)
    assert (content(made.store), made.store.notes()) == before


@pytest.mark.parametrize("tries", [service.TRIES, 0])
@pytest.mark.parametrize("name", APPROVING)
def test_an_enterer_approves_nothing(made, name, tries, monkeypatch) -> None:
    """Also where the change waits its turn because others are quicker."""
    monkeypatch.setattr(service, "TRIES", tries)
    before = content(made.store)
    with pytest.raises(NotAllowed, match="Edda may not approve"):
        APPROVING[name](session(made, "Edda", "read", "enter"), made)
    assert content(made.store) == before


def test_who_only_approves_enters_nothing(made) -> None:
    before = content(made.store)
    grace = session(made, "Grace", "read", "approve")
    with pytest.raises(NotAllowed, match="may not enter"):
        service.change(grace, D, lambda d: d.withdraw("T2"), role="approve")
    assert content(made.store) == before
    assert approval.change_state(grace, D, "retired", "no longer used").state == "retired"


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_of_event_has_its_role(kind) -> None:
    for to in ("running", "recommended", "verified", "approved", "retired"):
        needed = role_for(link(None, "2026-03-02T08:00", "Ada", kind, {"to": to}))
        closes = kind == "state changed" and to in ("approved", "retired")
        assert needed == ("approve" if closes or kind == "authorised" else "enter")
