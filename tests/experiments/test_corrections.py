"""What a correction changed, as reviewers read it."""

from __future__ import annotations

from experiments.corrections import corrections


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
