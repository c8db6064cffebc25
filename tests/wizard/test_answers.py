"""Answers that pages keep are asked for again when what they rest on has changed."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from experiments.trials import LogReading, Moment, Result, Trial
from wizard.answers import record_key

TRIAL = Trial("T1", {"set_temperature_c": 40.0}, result=Result(33.6), state="recorded")


def key(*trials: Trial) -> str:
    return record_key(SimpleNamespace(
        job="job", details=SimpleNamespace(carried=None), recorded=trials))


def test_a_log_or_a_result_that_changes_asks_again():
    logged = replace(TRIAL, log=LogReading(boiling=Moment(5.0, 4.9, 5.1)))
    later = replace(TRIAL, result=Result(34.0))
    other = replace(TRIAL, id="T2")
    assert len({key(TRIAL), key(logged), key(later), key(other)}) == 4
    assert key(TRIAL, other) == key(other, TRIAL)
