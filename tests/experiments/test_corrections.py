"""What a correction changed, as reviewers read it."""

from __future__ import annotations

import pytest

from experiments.corrections import corrections
from experiments.entries import EntryError
from experiments.trials import Recovery


def test_every_value_that_a_correction_changed_stands_beside_the_old_one(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={
        "diethyl phthalate": [88.0, 0.92, "<5"], "1,2-dichlorobenzene": 40.0})
    dossier.correct("T1", "a decimal", recovery_percent={
        "diethyl phthalate": [88.0, 92.0, "<5", 90.0]})
    dossier.correct("T1", "clock", run_time_min=43.0, outcome="finished")
    assert list(corrections(dossier.events).values()) == [
        "diethyl phthalate in vessel 2 0.92 % to 92 %; diethyl phthalate in vessel 4 none to 90 %",
        "run time 41.5 min to 43 min",
    ]
    second = dossier.trial("T1").result.recovery["diethyl phthalate"][1]
    assert second.percent == 92.0, "a correction of the time leaves the readings"


def test_a_correction_can_take_a_reading_away(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={
        "diethyl phthalate": [88.0, None, 92.0], "1,2-dichlorobenzene": 40.0})
    dossier.correct("T1", "another sample", recovery_percent={
        "diethyl phthalate": [88.0], "1,2-dichlorobenzene": None})
    assert dossier.trial("T1").result.recovery == {"diethyl phthalate": (Recovery(88.0),)}
    assert list(corrections(dossier.events).values()) == [
        "diethyl phthalate in vessel 3 92 % to none; 1,2-dichlorobenzene 40 % to none"]


@pytest.mark.parametrize("values", [
    {}, {"run_time_min": 41.5}, {"recovery_percent": {"diethyl phthalate": [88.0, None, None]}}])
def test_a_correction_that_changes_nothing_is_refused(dossier, values):
    dossier.record("T1", run_time_min=41.5, recovery_percent={"diethyl phthalate": [88.0]})
    before = dossier.events
    with pytest.raises(EntryError, match="changes nothing"):
        dossier.correct("T1", "looked again", **values)
    assert dossier.events == before


def test_a_correction_refuses_what_is_no_part_of_a_result(dossier):
    dossier.record("T1", run_time_min=41.5)
    with pytest.raises(TypeError, match="run_time"):
        dossier.correct("T1", "clock", run_time=43.0)
