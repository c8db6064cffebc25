"""Finding an event of a dossier again."""

from __future__ import annotations

import pytest

from experiments.events import Event, last_of, link


@pytest.fixture
def events():
    made: list[Event] = []
    for kind, payload in (("started", {}), ("recorded", {"trial": "T1"}),
                          ("recorded", {"trial": "T2"}), ("corrected", {"trial": "T1"}),
                          ("note", {})):
        made.append(link(made[-1] if made else None, "2026-03-10", "ada", kind, payload))
    return made


@pytest.mark.parametrize(("kinds", "trial", "seq"), [
    (("recorded",), None, 3), (("recorded", "corrected"), None, 4), (("recorded",), "T1", 2),
    (("recorded", "corrected"), "T1", 4), (("started",), None, 1),
])
def test_the_last_event_of_a_kind_and_of_a_trial_is_found(events, kinds, trial, seq):
    assert last_of(events, *kinds, trial=trial).seq == seq


def test_there_may_be_none(events):
    assert last_of(events, "withdrawn") is None
    assert last_of(events, "corrected", trial="T2") is None
    assert last_of(events, "note", trial="T1") is None
