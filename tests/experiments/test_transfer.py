"""Export, import, backup: lossless, repeatable, and nothing taken from a file on trust."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments import backup, run_logs, service, transfer
from experiments.attached_log import log_of, log_payload
from experiments.dossier import Dossier
from experiments.events import Event, link
from experiments.log_columns import proposed
from experiments.log_file import read_log_file
from experiments.log_reading import read_log
from experiments.storage.database import DatabaseStore
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import StoreError, append
from experiments.summaries import summarise
from experiments.users import NotAllowed, User
from tests.experiments.instrument_logs import as_text, run_columns
from tests.fuzzing import examples

DATA = Path(__file__).parents[1] / "data" / "transfer"
PHTHALATE = "diethyl phthalate"
LOG = read_log_file(as_text(run_columns(every_s=20.0)))
COLUMNS = proposed(LOG.headers, LOG.first()).choices
LOG_READ = read_log(LOG, COLUMNS)
HOSTILE = '=HYPERLINK("http://example.org","<script>alert(1)</script>")'


@pytest.fixture
def filled(dossier, setting):
    """A dossier with every kind of event a bench gives rise to."""
    dossier.record("T1", run_time_min=41.5, day="2026-03-02", remark=HOSTILE, recovery_percent={
        PHTHALATE: [88.1, None, "<5"], "1,2-dichlorobenzene": 52})
    dossier.record("T2", outcome="not dry")
    dossier.record(setting={**setting, "end_pressure_mbar": 3.5}, run_time_min=30.0,
                   recovery_percent={PHTHALATE: "<7.5"})
    dossier.correct("T1", "misread", recovery_percent={PHTHALATE: [78.1, None, "<5"]})
    dossier.exclude("T3", "spilt")
    dossier.include("T3", "it was T2's neighbour")
    for trial in ("T1", "T2"):
        looked = run_logs.look(dossier, trial, LOG, COLUMNS, 0.5)
        dossier.note_event("trace attached", log_payload(
            trial, looked.log, looked.marks, HOSTILE, LOG.sha256, 0.5))
    dossier.note_event("trace removed", {"trial": "T2", "reason": "of another run"})
    dossier.note_event("note", {"text": "Ø 🧪 \u0000 'quoted'"})
    return dossier


@pytest.fixture
def session():
    return service.Session(MemoryStore(), User("Ada"))


def keep(session, dossier):
    append(session.store, dossier.id, dossier.events, 0, summarise(dossier))


def refused(session, data, said):
    with pytest.raises(StoreError, match=said) as caught:
        transfer.import_dossier(session, data)
    assert caught.value.cure
    assert session.store.summaries() == []


def repacked(data: bytes, **changes: bytes) -> bytes:
    """The same file with members replaced and its checksums made right again."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        files = {n: archive.read(n) for n in archive.namelist()}
    files.update({n.replace("_", "."): d for n, d in changes.items()})
    import hashlib

    files["CHECKSUMS"] = "".join(
        f"{hashlib.sha256(files[n]).hexdigest()}  {n}\n" for n in ("dossier.json", "trials.csv")
    ).encode()
    return transfer.zipped(files)


def with_events(data: bytes, events: list[Event]) -> bytes:
    """The same file with another history, its chain made right again."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        body = json.loads(archive.read("dossier.json"))
    body["events"] = [vars(e) for e in events]
    return repacked(data, dossier_json=json.dumps(body).encode())


def relinked(events, **payloads) -> list[Event]:
    """The chain again, with the payloads of some events (by e<seq>) changed."""
    made: list[Event] = []
    for e in events:
        payload = {**e.payload, **payloads.get(f"e{e.seq}", {})}
        made.append(link(made[-1] if made else None, e.at, e.who, e.kind, payload))
    return made


@pytest.mark.parametrize("kind", ["memory", "sqlite", "postgresql"])
def test_export_import_export_gives_the_same_bytes(kind, session, filled, tmp_path, request):
    keep(session, filled)
    first = transfer.export_dossier(session, filled.id)
    store = MemoryStore() if kind == "memory" else DatabaseStore(
        f"sqlite:///{tmp_path / 's.sqlite'}" if kind == "sqlite"
        else request.getfixturevalue("postgresql_url"))
    other = service.Session(store, User("Grace"))
    assert transfer.import_dossier(other, first) == (filled.id, len(filled.events))
    assert transfer.export_dossier(other, filled.id) == first
    assert tuple(store.events(filled.id)) == filled.events
    assert [n["what"] for n in store.notes()] == ["import", "export"]
    assert service.audit(other)[filled.id].holds
    kept = log_of(service.load(other, filled.id).details.traces["T1"])
    for name, readings in LOG_READ.columns.items():
        np.testing.assert_array_equal(kept.columns[name], readings)
    store.close()


def test_importing_again_changes_nothing_and_a_longer_history_is_added(session, filled):
    shorter = Dossier.from_events(filled.events[:5])
    transfer.import_dossier(session, transfer.pack(shorter))
    assert transfer.import_dossier(session, transfer.pack(filled)).new == len(filled.events) - 5
    assert transfer.import_dossier(session, transfer.pack(filled)).new == 0
    assert transfer.import_dossier(session, transfer.pack(shorter)).new == 0
    assert tuple(session.store.events(filled.id)) == filled.events
    assert session.store.summaries()[0].revision == len(filled.events)


def test_another_history_under_the_same_id_is_left_alone(session, filled):
    shorter = Dossier.from_events(filled.events[:5], who="Eve")
    shorter.exclude("T1", "went another way")
    keep(session, shorter)
    with pytest.raises(StoreError, match="another history"):
        transfer.import_dossier(session, transfer.pack(filled))
    assert tuple(session.store.events(filled.id)) == shorter.events


def test_the_table_in_the_file_holds_every_reading_and_no_live_formula(filled):
    with zipfile.ZipFile(io.BytesIO(transfer.pack(filled))) as archive:
        rows = list(csv.DictReader(io.StringIO(archive.read("trials.csv").decode())))
    first = [r for r in rows if r["trial"] == "T1"]
    key = f"recovery_percent:{PHTHALATE}"
    assert [(r["vessel"], r[key]) for r in first] == [
        ("1", "78.1"), ("2", ""), ("3", "<5"), ("", "")]
    assert first[-1]["recovery_percent:1,2-dichlorobenzene"] == "52"
    assert first[0]["remark"] == "'" + HOSTILE
    assert all(not v.startswith(("=", "+", "@")) for r in rows for v in r.values())


@pytest.mark.parametrize("version", transfer.READABLE_VERSIONS)
def test_a_file_of_every_schema_opens_and_travels_on(session, version):
    """Files as they were written then; a new schema needs one more."""
    data = (DATA / f"schema-{version}.zip").read_bytes()
    name = transfer.import_dossier(session, data).id
    dossier = service.load(session, name)
    assert dossier.job.title == "Three esters from ethyl acetate"
    assert dossier.trial("T1").result.run_time_min == 41.5
    again = transfer.export_dossier(session, name)
    other = service.Session(MemoryStore(), User("Grace"))
    transfer.import_dossier(other, again)
    assert transfer.export_dossier(other, name) == again
    if version == transfer.SCHEMA_VERSION:
        with zipfile.ZipFile(io.BytesIO(data)) as then, zipfile.ZipFile(io.BytesIO(again)) as now:
            assert {n: then.read(n) for n in then.namelist()} == {
                n: now.read(n) for n in now.namelist()}
        assert dossier.trial("T1").log.boiling.min == pytest.approx(4.6, abs=0.3)
        assert list(dossier.details.traces) == ["T1"]


@pytest.mark.parametrize(("data", "said"), [
    (b"", "not a readable"),
    (b"PK\x03\x04 and no more", "not a readable"),
    (transfer.zipped({"dossier.json": b"{}"}), "does not hold what"),
    (transfer.zipped({"../../etc/passwd": b"", "trials.csv": b"", "CHECKSUMS": b""}), "hold what"),
    (transfer.zipped({"/dossier.json": b"", "trials.csv": b"", "CHECKSUMS": b""}), "hold what"),
    (transfer.zipped({"dossier.json": b"{}", "trials.csv": b"", "CHECKSUMS": b"x"}), "checksums"),
    (transfer.zipped(dict.fromkeys(transfer.MEMBERS, b"0" * 70_000_000)), "unpacks"),
])
def test_files_that_export_did_not_write_are_refused(session, data, said):
    refused(session, data, said)


@pytest.mark.parametrize(("body", "said"), [
    (b"{}", "does not hold a dossier"),
    (b"[1, 2]", "does not hold a dossier"),
    (b"\xff", "does not hold a dossier"),
    (b"[" * 100_000, "does not hold a dossier"),
    (b'{"schema_version": 99, "id": "a", "events": []}', "schema version 99"),
    (b'{"schema_version": 2, "id": "a", "events": []}', "not hold together"),
    (b'{"schema_version": 2, "id": "a", "events": [{"seq": NaN}]}', "does not hold a dossier"),
])
def test_what_is_no_history_is_refused(session, filled, body, said):
    refused(session, repacked(transfer.pack(filled), dossier_json=body), said)


@pytest.mark.parametrize("payload", [
    {"e4": {"result": {"run_time_min": "long"}}},
    {"e4": {"trial": "T77"}},
    {"e4": {"result": None}},
    {"e2": {"trial": "T7"}},
    {"e2": {"setting": {"set_temperature_c": "hot"}}},
    {"e1": {"job": {"title": 5}}},
    {"e1": {"id": "../../../etc"}},
    {"e1": {"id": "x" * 100}},
    {"e1": {"results_by": 5}},
    {"e1": {"results_by": [None]}},
    {"e1": {"changes": [{"path": "seed"}]}},
    {"e4": {"result": {"run_time_min": 1, "outcome": "finished", "recovery": {"a": [None]},
                       "is_mean": {}, "remark": "", "day": "", "corrected": False}}},
])
def test_a_chain_that_holds_but_makes_no_sense_is_refused(session, filled, payload):
    spoilt = with_events(transfer.pack(filled), relinked(filled.events, **payload))
    refused(session, spoilt, "makes no sense|not begin")


def test_an_altered_history_is_refused(session, filled):
    events = list(filled.events)
    events[3] = Event(**{**vars(events[3]), "who": "Mallory"})
    refused(session, with_events(transfer.pack(filled), events), "does not hold together")
    refused(session, with_events(transfer.pack(filled), events[:2] + events[3:]), "together")
    forged = Event(**{**vars(events[0]), "previous_hash": "1" * 64})
    refused(session, with_events(transfer.pack(filled), [forged]), "together")


@settings(max_examples=examples(120), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(0, 10**6), byte=st.integers(0, 255))
def test_a_file_with_one_wrong_byte_is_taken_as_it_was_or_refused(filled, place, byte):
    data = bytearray(transfer.pack(filled))
    data[place % len(data)] = byte
    empty = service.Session(MemoryStore(), User("Ada"))
    try:
        transfer.import_dossier(empty, bytes(data))
    except StoreError:
        assert empty.store.summaries() == []
        return
    assert tuple(empty.store.events(filled.id)) == filled.events


def test_a_reader_may_export_and_not_import(session, filled):
    keep(session, filled)
    reader = service.Session(session.store, User("Rhea", frozenset({"read"})))
    data = transfer.export_dossier(reader, filled.id)
    with pytest.raises(NotAllowed):
        transfer.import_dossier(reader, data)
    with pytest.raises(NotAllowed):
        backup.restore(reader, backup.back_up(reader))


def test_a_backup_restores_a_store_with_its_log(session, filled, job):
    keep(session, filled)
    keep(session, Dossier.start(job, who="Ada", dossier_id="other1"))
    transfer.export_dossier(session, filled.id)
    data = backup.back_up(session)
    empty = service.Session(MemoryStore(), User("Ada"))
    done = backup.restore(empty, data)
    assert (done.ids, done.refused) == (("bench1", "other1"), {})
    assert [e.hash for e in empty.store.events("bench1")] == [e.hash for e in filled.events]
    assert empty.store.notes()[0]["what"] == "export"
    assert backup.restore(empty, data).ids == ("bench1", "other1")


def test_a_damaged_backup_is_refused_whole(session, filled):
    keep(session, filled)
    data = backup.back_up(session)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        files = {n: archive.read(n) for n in archive.namelist()}
    files["dossiers/bench1.zip"] += b" "
    empty = service.Session(MemoryStore(), User("Ada"))
    for spoilt in (b"no zip", transfer.zipped({"a": b"b"}), transfer.zipped(files)):
        with pytest.raises(StoreError) as caught:
            backup.restore(empty, spoilt)
        assert caught.value.cure
    assert empty.store.summaries() == []


def closed(filled, *moves) -> bytes:
    """An export with moves from state to state at its end, its chain made right."""
    events = list(filled.events)
    for to in moves:
        events.append(link(events[-1], events[-1].at, "Grace", "state changed",
                           {"from": "", "to": to, "reason": "made up"}))
    return with_events(transfer.pack(filled), events)


def test_an_enterer_cannot_bring_in_an_approval_he_wrote_himself(session, filled):
    forged = closed(filled, "recommended", "verified", "approved")
    enterer = service.Session(session.store, User("Edda", frozenset({"read", "enter"})))
    with pytest.raises(NotAllowed, match="may not approve"):
        transfer.import_dossier(enterer, forged)
    assert session.store.summaries() == []
    transfer.import_dossier(session, forged)
    assert session.store.summaries()[0].state == "approved"


@pytest.mark.parametrize("moves", [("approved",), ("verified",), ("nowhere",),
                                   ("retired", "running")])
def test_a_move_that_is_not_allowed_is_refused(session, filled, moves):
    refused(session, closed(filled, *moves), "makes no sense")


def test_a_closed_dossier_of_a_file_holds_no_later_result(session, filled):
    events = list(filled.events)
    events.append(link(events[-1], events[-1].at, "Ada", "state changed",
                       {"from": "running", "to": "retired", "reason": ""}))
    events.append(link(events[-1], events[-1].at, "Ada", "excluded",
                       {"trial": "T1", "reason": "late"}))
    refused(session, with_events(transfer.pack(filled), events), "makes no sense")


def test_a_zip_that_lies_about_its_size_is_refused(session):
    """The directory says ten bytes where two hundred million are packed."""
    data = bytearray(transfer.zipped({"dossier.json": b"0" * 200_000_000, "trials.csv": b"",
                                      "CHECKSUMS": b""}))
    for mark, place in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        at = data.index(mark) + place
        data[at:at + 4] = (10).to_bytes(4, "little")
    refused(session, bytes(data), "not a readable|checksums")


@pytest.mark.parametrize("log", [b"[5]", b"5", b'[{"at": 1}]', b'[{"at": "", "who": "", '
                                 b'"what": "", "payload": 5}]'])
def test_a_backup_with_a_log_of_another_form_is_refused_whole(session, filled, log):
    keep(session, filled)
    with zipfile.ZipFile(io.BytesIO(backup.back_up(session))) as archive:
        files = {n: archive.read(n) for n in archive.namelist()}
    files["store_log.json"] = log
    content = json.loads(files["backup.json"])
    import hashlib

    content["files"]["store_log.json"] = hashlib.sha256(log).hexdigest()
    files["backup.json"] = json.dumps(content).encode()
    empty = service.Session(MemoryStore(), User("Ada"))
    with pytest.raises(StoreError, match="not a backup"):
        backup.restore(empty, transfer.zipped(files))
    assert empty.store.summaries() == []


junk = st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
                    lambda inner: st.lists(inner, max_size=3)
                    | st.dictionaries(st.text(max_size=5), inner, max_size=3), max_leaves=6)


@settings(max_examples=examples(150), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seq=st.integers(1, 8), key=st.sampled_from(
    ["id", "job", "trial", "setting", "result", "reason", "run_time_min", "version", "new"]),
    value=junk)
def test_any_payload_in_a_chain_that_holds_is_taken_whole_or_refused(filled, seq, key, value):
    """Numbers without end, NaN and infinities among them."""
    empty = service.Session(MemoryStore(), User("Ada"))
    try:
        events = relinked(filled.events, **{f"e{seq}": {key: value}})
    except ValueError:  # NaN and infinities have no canonical form, so no chain can hold them
        return
    try:
        name = transfer.import_dossier(empty, with_events(transfer.pack(filled), events)).id
    except StoreError:
        assert empty.store.summaries() == []
        return
    assert len(service.load(empty, name).events) == len(events)
