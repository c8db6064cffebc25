"""One suite for every store: memory, SQLite, and a real PostgreSQL server."""

from __future__ import annotations

import sys
import threading
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.events import Event, link, verify_chain
from experiments.storage.database import DatabaseStore
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import (
    Draft,
    StaleRevision,
    Summary,
    UnknownDossier,
    append,
)
from tests.fuzzing import examples

AT = "2026-03-02T08:00:00.000+00:00"
HOSTILE = "Robert'); DROP TABLE dossier;-- \u0000 \u202e <script>alert(1)</script> 🧪 \"\\"


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def store(request, tmp_path):
    if request.param == "memory":
        opened = MemoryStore()
    elif request.param == "sqlite":
        opened = DatabaseStore(f"sqlite:///{tmp_path / 'store.sqlite'}")
    else:
        opened = DatabaseStore(request.getfixturevalue("postgresql_url"))
    yield opened
    opened.close()


@pytest.fixture
def store_in_memory():
    """With threads that take turns much more often than usual."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield MemoryStore()
    sys.setswitchinterval(usual)


def chain(*notes: object, who: str = "Ada", after: Event | None = None) -> list[Event]:
    events = []
    for note in notes:
        after = link(after, AT, who, "note", {"text": note})
        events.append(after)
    return events


def summary(name: str = "d1", revision: int = 1, **other) -> Summary:
    values = {"title": "A job", "state": "draft", "trials": 0, "updated": AT, "facts": {}}
    return Summary(id=name, revision=revision, **{**values, **other})


def test_what_was_appended_is_read_back_in_order(store):
    events = chain("a", 0.1 + 0.2, [None, True, 1e-300], {"k": HOSTILE})
    assert append(store, "d1", events[:2], 0, summary(revision=2)) == 2
    assert append(store, "d1", events[2:], 2, summary(revision=4)) == 4
    assert list(store.events("d1")) == events
    assert verify_chain(store.events("d1")).holds


def test_an_unknown_dossier_is_said_to_be_unknown(store):
    with pytest.raises(UnknownDossier, match="no dossier 'nowhere'") as caught:
        store.events("nowhere")
    assert caught.value.cure


def test_a_stale_save_changes_nothing_and_says_who_did_what(store):
    first = chain("a")
    append(store, "d1", first, 0, summary())
    theirs = chain("theirs", who="Grace", after=first[-1])
    append(store, "d1", theirs, 1, summary(revision=2, title="Theirs"))
    with pytest.raises(StaleRevision, match="Grace") as caught:
        append(store, "d1", chain("mine", after=first[-1]), 1, summary(revision=2, title="Mine"))
    assert [e.payload["text"] for e in caught.value.newer] == ["theirs"]
    assert list(store.events("d1")) == first + theirs
    assert [s.title for s in store.summaries()] == ["Theirs"]


def test_who_waits_his_turn_builds_on_what_others_saved(store):
    first = chain("a")
    append(store, "d1", first, 0, summary())
    theirs = chain("b", "c", after=first[-1], who="Grace")
    append(store, "d1", theirs, 1, summary(revision=3))

    def build(newer):
        assert list(newer) == theirs
        return chain("mine", after=newer[-1]), summary(revision=4, title="Mine")

    assert store.extend("d1", 1, build) == 4
    assert [e.payload["text"] for e in store.events("d1")] == ["a", "b", "c", "mine"]
    assert store.summaries()[0].title == "Mine"
    assert store.extend("d1", 4, lambda newer: ((), summary())) == 4
    with pytest.raises(ZeroDivisionError):
        store.extend("d1", 4, lambda newer: 1 / 0)
    with pytest.raises(StaleRevision):
        store.extend("d1", 9, lambda newer: (chain("x"), summary()))
    with pytest.raises(UnknownDossier):
        store.extend("d2", 1, lambda newer: (chain("x"), summary("d2")))
    assert len(store.events("d1")) == 4
    assert verify_chain(store.events("d1")).holds


def test_a_new_dossier_under_a_taken_id_is_stale(store):
    append(store, "d1", chain("a"), 0, summary())
    with pytest.raises(StaleRevision):
        append(store, "d1", chain("b"), 0, summary())
    with pytest.raises(StaleRevision):
        append(store, "d1", chain("b", "c")[1:], 7, summary())
    assert [e.payload["text"] for e in store.events("d1")] == ["a"]


def test_appending_to_a_dossier_that_is_not_there_is_refused(store):
    with pytest.raises(UnknownDossier):
        append(store, "d9", chain("a", "b")[1:], 1, summary("d9"))
    assert store.summaries() == []


def test_summaries_come_last_changed_first_and_keep_hostile_text(store):
    for name, hour in (("d1", "08"), ("d2", "10"), ("d3", "09")):
        changed = f"2026-03-02T{hour}:00:00.000+00:00"
        facts = {"analytes": [HOSTILE], "version": 1}
        title = HOSTILE.replace("\u0000", "")
        held = summary(name, title=title, updated=changed, facts=facts)
        append(store, name, chain("a"), 0, held)
    assert [s.id for s in store.summaries()] == ["d2", "d3", "d1"]
    assert store.summaries()[0].facts["analytes"] == [HOSTILE]
    assert store.summaries()[0].title == HOSTILE.replace("\u0000", "")


def test_the_log_of_the_store_is_kept_apart_from_dossiers(store):
    append(store, "d1", chain("a"), 0, summary())
    store.note(AT, "Ada", "export", {"dossier": "d1"})
    store.note(AT, "Grace", "import", {"dossier": "d2"})
    assert [(n["who"], n["what"]) for n in store.notes()] == [
        ("Ada", "export"), ("Grace", "import"),
    ]
    assert len(store.events("d1")) == 1


def test_a_draft_is_kept_a_person_and_replaced_and_forgotten(store):
    hours = ("2026-03-02T08", "2026-03-02T09", "2026-03-02T10")
    store.save_draft(Draft("Ada", "job", hours[0], {"title": "unfinished", "seed": None}))
    store.save_draft(Draft("Grace", "job", hours[1], {"title": HOSTILE}))
    store.save_draft(Draft("Ada", "second", hours[1], {"a": 1}))
    store.save_draft(Draft("Ada", "job", hours[2], {"title": "more"}))
    assert [(d.name, d.content) for d in store.drafts("Ada")] == [
        ("job", {"title": "more"}), ("second", {"a": 1}),
    ]
    assert store.drafts("Grace")[0].content == {"title": HOSTILE}
    store.save_draft(Draft("Ada", "job", hours[2], {}))
    assert [d.name for d in store.drafts("Ada")] == ["second"]
    assert store.drafts("Nobody") == []


def test_many_writers_lose_no_update(store):
    """Each writer appends ten notes to one dossier, reading again when somebody was faster."""
    append(store, "d1", chain("start"), 0, summary())
    faults: list[BaseException] = []

    def write(name: str) -> None:
        try:
            for i in range(10):
                while True:
                    held = store.events("d1")
                    new = chain(f"{name}{i}", who=name, after=held[-1])
                    try:
                        append(store, "d1", new, held[-1].seq, summary(revision=new[-1].seq))
                        break
                    except StaleRevision:
                        continue
        except BaseException as fault:  # noqa: BLE001 - a thread must hand its fault over
            faults.append(fault)

    writers = [threading.Thread(target=write, args=(f"w{n}",)) for n in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert not faults
    texts = [e.payload["text"] for e in store.events("d1")]
    assert sorted(texts[1:]) == sorted(f"w{n}{i}" for n in range(4) for i in range(10))
    assert verify_chain(store.events("d1")).holds
    assert all(a.seq + 1 == b.seq for a, b in pairwise(store.events("d1")))
    assert store.summaries()[0].revision == 41


def test_drafts_are_listed_while_others_are_saved(store_in_memory):
    """Two people work in one process."""
    others = threading.Thread(target=lambda: [
        store_in_memory.save_draft(Draft("Grace", f"job {n}", AT, {"n": n})) for n in range(3000)])
    others.start()
    while others.is_alive():
        assert store_in_memory.drafts("Ada") == []
    others.join()
    assert len(store_in_memory.drafts("Grace")) == 3000


anything = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**62), 2**62)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), max_size=8), inner,
                      max_size=4),
    max_leaves=12,
)


@settings(max_examples=examples(40), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(payload=anything)
def test_any_payload_comes_back_as_it_was(store, payload):
    taken = len(store.summaries())
    name = f"p{taken}"
    events = chain(payload)
    append(store, name, events, 0, summary(name))
    assert list(store.events(name)) == events
    assert verify_chain(store.events(name)).holds
