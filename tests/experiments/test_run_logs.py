"""Attaching a log to a trial: what the record keeps, who may, and what counts."""

from __future__ import annotations

import base64
import copy
import hashlib
import zlib

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments import approval, run_logs, service, transfer
from experiments.attached_log import log_of
from experiments.corrections import ENTERING
from experiments.entries import EntryError
from experiments.events import Event, link
from experiments.log_columns import ColumnChoice
from experiments.log_file import read_log_file
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import StaleRevision, StoreError, append
from experiments.summaries import summarise
from experiments.users import NotAllowed, User
from tests.experiments.instrument_logs import as_text, run_columns
from tests.fuzzing import examples

LOG = as_text(run_columns()).encode()
PHTHALATE = "diethyl phthalate"


@pytest.fixture
def session(dossier):
    made = service.Session(MemoryStore(), User("Ada"))
    append(made.store, dossier.id, dossier.events, 0, summarise(dossier))
    return made


def choices(session, data: bytes = LOG):
    dossier = service.load(session, "bench1")
    return run_logs.propose_columns(session, dossier, read_log_file(data)).choices


def attach(session, trial: str = "T1", data: bytes = LOG, **more):
    return run_logs.attach(session, "bench1", trial, read_log_file(data), "run 7.csv",
                           choices(session, data), **more)


def test_a_log_is_kept_whole_and_tells_its_moments(session) -> None:
    dossier, looked = attach(session)
    again = service.load(session, "bench1")
    held = again.details.traces["T1"]
    assert held["file_sha256"] == hashlib.sha256(LOG).hexdigest()
    kept = log_of(held)
    for name, values in looked.log.columns.items():
        np.testing.assert_array_equal(kept.columns[name], values)
    assert held["moments"]["boiling"]["min"] == pytest.approx(5.1, abs=0.3)
    assert held["moments"]["end_point"]["min"] == pytest.approx(29.9, abs=0.4)
    assert run_logs.suggested_run_time(again, "T1") == pytest.approx(40.0, abs=0.1)
    assert again.trial("T1").log.boiling.min == held["moments"]["boiling"]["min"]
    assert again.trial("T1").result is None
    assert dossier.events[-1].who == "Ada"


def test_lid_close_moves_every_moment(session) -> None:
    attach(session)
    first = service.load(session, "bench1").trial("T1").log.run_time.min
    attach(session, lid_closed_min=1.5)
    assert service.load(session, "bench1").trial("T1").log.run_time.min == pytest.approx(
        first - 1.5)
    with pytest.raises(EntryError, match="outside the log"):
        attach(session, lid_closed_min=500.0)


def test_a_run_time_is_taken_only_when_asked_and_a_correction_says_so(session) -> None:
    service.record(session, "bench1", "T1", run_time_min=37.0, recovery_percent={PHTHALATE: 90.0})
    attach(session)
    assert service.load(session, "bench1").trial("T1").result.run_time_min == 37.0
    dossier = run_logs.take_run_time(session, "bench1", "T1")
    assert dossier.trial("T1").result.run_time_min == pytest.approx(40.0, abs=0.1)
    assert dossier.trial("T1").result.recovery[PHTHALATE][0].percent == 90.0
    assert "run 7.csv" in dossier.events[-1].payload["reason"]
    held = len(dossier.events)
    assert len(run_logs.take_run_time(session, "bench1", "T1").events) == held


def test_a_pending_trial_takes_its_run_time_and_then_its_recoveries(session) -> None:
    attach(session)
    run_logs.take_run_time(session, "bench1", "T1")
    service.record(session, "bench1", "T1", recovery_percent={PHTHALATE: 90.0})
    result = service.load(session, "bench1").trial("T1").result
    assert result.run_time_min == pytest.approx(40.0, abs=0.1)
    assert result.recovery[PHTHALATE][0].percent == 90.0


def test_a_log_without_an_end_suggests_no_run_time(session) -> None:
    short = as_text(run_columns()[:200]).encode()
    attach(session, data=short)
    with pytest.raises(EntryError, match="tells no run time"):
        run_logs.take_run_time(session, "bench1", "T1")
    with pytest.raises(EntryError, match="tells no run time"):
        run_logs.take_run_time(session, "bench1", "T2")


def test_a_removed_log_no_longer_counts_and_stays_in_the_record(session) -> None:
    attach(session)
    with pytest.raises(EntryError, match="reason"):
        run_logs.remove(session, "bench1", "T1", " ")
    dossier = run_logs.remove(session, "bench1", "T1", "of another run")
    assert dossier.trial("T1").log is None
    assert dossier.details.traces == {}
    assert [e.kind for e in dossier.events[-2:]] == ["trace attached", "trace removed"]
    with pytest.raises(EntryError, match="no log"):
        run_logs.remove(session, "bench1", "T1", "again")


def test_columns_once_confirmed_are_remembered_for_the_person_and_the_dossier(session) -> None:
    odd = as_text(run_columns(), ("a", "b", "c", "d", "e")).encode()
    table = read_log_file(odd)
    dossier = service.load(session, "bench1")
    assert not run_logs.propose_columns(session, dossier, table).is_whole
    named = {"time": ColumnChoice("a", "s"), "pressure": ColumnChoice("b", "mbar")}
    dossier, _ = run_logs.attach(session, "bench1", "T1", table, "x.csv", named)
    again = run_logs.propose_columns(session, dossier, table)
    assert (again.is_known, dict(again.choices)) == (True, named)
    fresh = service.create(session, dossier.job, "bench2")
    assert run_logs.propose_columns(session, fresh, table).choices == named
    other = service.Session(session.store, User("Grace"))
    assert not run_logs.propose_columns(other, fresh, table).is_known


def test_roles_states_and_revisions_are_minded(session) -> None:
    reader = service.Session(session.store, User("Eve", frozenset({"read"})))
    named = choices(session)
    for act in (
        lambda: run_logs.attach(reader, "bench1", "T1", read_log_file(LOG), "x", named),
        lambda: run_logs.remove(reader, "bench1", "T1", "x"),
        lambda: run_logs.take_run_time(reader, "bench1", "T1"),
    ):
        with pytest.raises(NotAllowed):
            act()
    attach(session)
    with pytest.raises(StaleRevision):
        attach(session, revision=1)
    service.withdraw(session, "bench1", "T2")
    with pytest.raises(EntryError, match="withdrawn"):
        attach(session, "T2")
    approval.change_state(session, "bench1", "retired", "no longer used")
    with pytest.raises(EntryError, match="retired"):
        attach(session)
    assert "trace attached" in ENTERING


def test_export_and_import_lose_nothing(session) -> None:
    service.record(session, "bench1", "T1", run_time_min=40.0)
    attach(session)
    attach(session, "T2")
    run_logs.remove(session, "bench1", "T2", "wrong run")
    data = transfer.export_dossier(session, "bench1")
    other = service.Session(MemoryStore(), User("Grace"))
    transfer.import_dossier(other, data)
    assert transfer.export_dossier(other, "bench1") == data
    assert service.load(other, "bench1").trial("T1").log == service.load(
        session, "bench1").trial("T1").log


def test_the_next_version_takes_the_log_along(session) -> None:
    service.record(session, "bench1", "T1", run_time_min=40.0)
    attach(session)
    fresh = approval.new_version(session, "bench1", reason="next")
    carried = next(t for t in fresh.trials if t.result is not None)
    assert carried.log == service.load(session, "bench1").trial("T1").log


def sent_with(session, change) -> bytes:
    """An export whose last log was changed, its chain and checksums made right again."""
    dossier = service.load(session, "bench1")
    made: list[Event] = []
    for event in dossier.events:
        payload = copy.deepcopy(dict(event.payload))
        if event.kind == "trace attached":
            change(payload)
        made.append(link(made[-1] if made else None, event.at, event.who, event.kind, payload))
    dossier._events = made
    return transfer.pack(dossier)


def imported(data: bytes) -> None:
    store = MemoryStore()
    try:
        transfer.import_dossier(service.Session(store, User("Grace")), data)
    finally:
        assert store.summaries() == []


@settings(deadline=None, max_examples=examples(60),
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(key=st.sampled_from(["readings", "data", "data_sha256", "columns", "moments", "lulls_min",
                            "notes", "file", "lid_closed_min", "findings", "trial"]),
       value=st.one_of(st.none(), st.integers(-5, 10**9), st.just([None]), st.just({"a": "b"}),
                       st.just([["x"]]), st.just("T77")))
def test_an_altered_log_is_not_taken_from_a_file(session, key, value) -> None:
    if not service.load(session, "bench1").details.traces:
        attach(session)
    allowed = (isinstance(value, str) and key == "file") or (
        isinstance(value, int) and key == "lid_closed_min")
    if not allowed:
        with pytest.raises(StoreError):
            imported(sent_with(session, lambda p: p.__setitem__(key, value)))


def test_a_log_that_unpacks_to_more_than_it_says_is_refused(session) -> None:
    attach(session)
    bomb = base64.b64encode(zlib.compress(bytes(50_000_000), 9)).decode()
    with pytest.raises(StoreError, match="makes no sense"):
        imported(sent_with(session, lambda p: p["data"].__setitem__("pressure", bomb)))
