"""Whatever somebody hands over is taken whole or leaves the record as it was, in words."""

from __future__ import annotations

import io
import math
import os
from datetime import date, datetime, time

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.utils.exceptions import IllegalCharacterError

from experiments import backup, run_logs, service, transfer
from experiments.bootstrap import open_store
from experiments.entries import EntryError
from experiments.log_columns import ColumnChoice
from experiments.log_file import read_log_file
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import StoreError
from experiments.users import User
from tests.fuzzing import examples

A = "recovery_percent:diethyl phthalate"
HEADERS = ["trial", "run_order", "vessel", "run_time_min", "outcome", "remark", "day", A,
           "set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar", "blank_percent",
           "corrected", "other"]
USUAL = st.sampled_from([
    "", "T1", "T2", "T3", "1", "2", "4", "41.5", "41,5", "<5", "finished", "not dry", "88", "45",
    "50", "40", "2026-03-02", "yes"])
HOSTILE = st.sampled_from([
    "=1+1", "=HYPERLINK(\"http://x\")", "@SUM(A1)", "+1", "-1", "\t=1",
    "'; DROP TABLE dossier; --", "<script>alert(1)</script>", "nan", "inf", "-inf",
    "1e400", "-1e400", "1e-400", "9" * 400, "0x10", "1_000",
    "\u0661\u0662", "\u202e", "\ufeff", "1,234.5", "<", "<<5", "<nan", "%"])
CELLS = USUAL | HOSTILE | st.text(max_size=6)
SHARED = settings(deadline=None, max_examples=examples(150),
                  suppress_health_check=[HealthCheck.function_scoped_fixture,
                                         HealthCheck.too_slow])


@pytest.fixture
def session(dossier):
    made = service.Session(MemoryStore(), User("Ada"))
    service.append(made, dossier, 0)
    return made


def in_words(error: EntryError | StoreError) -> None:
    """One sentence and a cure."""
    assert error.message.strip()
    assert error.cure.strip()


def whole_or_nothing(session: service.Session, data: bytes | str) -> bool:
    """Record a table on a copy of the dossier; whether it was taken."""
    copy = service.Session(MemoryStore(), User("Ada"))
    transfer.import_dossier(copy, transfer.export_dossier(session, "bench1"))
    before = copy.store.events("bench1")
    _, table, ids = service.record_table(copy, "bench1", data)
    after = copy.store.events("bench1")
    assert after[: len(before)] == before
    if not table.is_clean:
        assert (ids, after) == ([], before)
        assert all(r.reason.strip() and r.cure.strip() for r in table.rejected)
        return False
    assert len(set(ids)) == len({t.trial or n for n, t in enumerate(table.trials)})
    held = {t.id: t.result for t in service.load(copy, "bench1").trials}
    for name in ids:
        assert held[name] is not None
        numbers = [r.percent for v in held[name].recovery.values() for r in v if r is not None]
        assert all(math.isfinite(n) for n in numbers)
    return True


@SHARED
@given(header=st.lists(st.sampled_from(HEADERS), min_size=1, max_size=9),
       rows=st.lists(st.lists(CELLS, max_size=10), max_size=5), delimiter=st.sampled_from(",;\t"))
def test_any_table_is_recorded_whole_or_not_at_all(session, header, rows, delimiter):
    quoted = [['"' + c.replace('"', '""') + '"' for c in row] for row in [header, *rows]]
    whole_or_nothing(session, "\n".join(delimiter.join(row) for row in quoted))


TYPED = st.one_of(
    CELLS, st.none(), st.booleans(), st.integers(-10**18, 10**18), st.floats(allow_nan=False),
    st.dates(date(1900, 3, 1)), st.datetimes(datetime(1900, 3, 1)),  # noqa: DTZ001
    st.times(), st.just(time(0, 0)), st.sampled_from([1.7e308, -1e-300, 10**15]))


@SHARED
@given(header=st.lists(st.sampled_from(HEADERS) | CELLS, min_size=1, max_size=9),
       rows=st.lists(st.lists(TYPED, max_size=10), max_size=5))
def test_any_workbook_is_recorded_whole_or_not_at_all(session, header, rows):
    book = openpyxl.Workbook()
    try:
        for row in [header, *rows]:
            book.active.append(row)
    except (IllegalCharacterError, ValueError):
        return  # no workbook can hold that
    data = io.BytesIO()
    book.save(data)
    whole_or_nothing(session, data.getvalue())


@SHARED
@given(place=st.integers(0, 10**6), piece=st.binary(max_size=8), cut=st.booleans(),
       kind=st.sampled_from(["export", "backup"]))
def test_a_file_with_wrong_bytes_is_taken_as_it_was_or_leaves_nothing(
    session, place, piece, cut, kind
):
    whole = (transfer.export_dossier(session, "bench1") if kind == "export"
             else backup.back_up(session))
    data = whole[: place % len(whole)] + piece
    data += b"" if cut else whole[len(data):]
    empty = service.Session(MemoryStore(), User("Ada"))
    try:
        if kind == "export":
            transfer.import_dossier(empty, data)
        else:
            backup.restore(empty, data)
    except StoreError as error:
        in_words(error)
        assert empty.store.summaries() == []
        assert empty.store.notes() == []
        return
    assert empty.store.events("bench1") == session.store.events("bench1")


READING = st.sampled_from(["1", "2.5", "3,5", "1e3", "-4", "nan", "inf", "1e400", "", "x", "=1+1",
                           "8:15 PM", "2026-03-02 08:15"])


@SHARED
@given(rows=st.lists(st.lists(READING, min_size=2, max_size=3), min_size=3, max_size=25),
       unit=st.sampled_from(["s", "min", "clock", "year first", "parsec"]),
       lid=st.sampled_from([0.0, 0.01, -1.0, 1e9, math.nan, math.inf]), increasing=st.booleans())
def test_any_log_is_attached_whole_or_not_at_all(session, rows, unit, lid, increasing):
    body = [[str(n), *row[1:]] if increasing else row for n, row in enumerate(rows)]
    before = session.store.events("bench1")
    text = "t,p,wall\n" + "\n".join(",".join(r) for r in body)
    try:
        table = read_log_file(text)
        run_logs.attach(session, "bench1", "T1", table, "<b>=1+1</b>.csv", {
            "time": ColumnChoice("t", unit), "pressure": ColumnChoice("p", "mbar")}, lid)
    except EntryError as error:
        in_words(error)
        assert session.store.events("bench1") == before
        return
    assert [e.kind for e in session.store.events("bench1")[len(before):]] == ["trace attached"]
    assert service.audit(session)["bench1"].holds


ADDRESSES = st.one_of(
    st.text(max_size=40),
    st.tuples(st.sampled_from(["sqlite", "mysql", "file", "", "http", "postgres ql"]),
              st.sampled_from([":", ":/", "://", ":///", ":////"]), st.text(max_size=20)).map(
        "".join),
    st.text(max_size=20).map("postgresql://127.0.0.1:1/".__add__),  # a port nobody listens on
    st.sampled_from(["postgresql://\x80/x", "postgresql://" + "x" * 70 + "/x",
                     "sqlite://", "sqlite:///:memory:", "sqlite:///", "\x00", "x" * 5000, "/",
                     ".", "..", "postgresql://u:p@[::1", "sqlite:///a?b=c", "~nobody/x",
                     "postgresql://127.0.0.1:1/x", "postgresql://127.0.0.1:99999/x"]))


@settings(deadline=None, max_examples=examples(60),
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ADDRESSES)
def test_any_address_opens_a_store_or_is_refused_in_words(tmp_path, monkeypatch, address):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BOILWRIGHT_STORE", str(tmp_path / "own.sqlite"))
    try:
        store = open_store(address)
    except StoreError as error:
        in_words(error)
    else:
        store.summaries()
        store.close()


@pytest.mark.parametrize("name", ["a%20b.sqlite", "a#b", "a@b:c", "ä ö", "a;b", "%", "a?b=c"])
def test_a_file_of_an_odd_name_is_that_file(tmp_path, name):
    open_store(str(tmp_path / name)).close()
    assert name in os.listdir(tmp_path)
