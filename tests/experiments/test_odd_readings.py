"""Odd readings are told in whole sentences, names of substances written as the job writes them."""

from __future__ import annotations

from types import SimpleNamespace

from experiments import diagnostics
from experiments.diagnostics import Reading


def test_an_odd_reading_is_told_in_a_sentence(monkeypatch):
    found = (Reading("T2", "run time", 2460.0, 41.0, 3.0, 40.0),
             Reading("T3", "p,p'-DDE", 41.2, 88.0, 6.0, -7.8),
             Reading("T4", "p,p'-DDE", 86.0, 88.0, 6.0, -0.3))
    monkeypatch.setattr(diagnostics, "leave_one_out", lambda _: found)
    time, recovery = diagnostics.odd_runs(SimpleNamespace(trials=()))
    assert time.message == "T2 took 2460 min, but the other runs and physics suggest 41 min."
    assert time.cure.startswith("Was it typed as seconds instead of minutes?")
    assert recovery.message == (
        "T3 gave back 41.2 % of p,p'-DDE, but the other runs and physics suggest 88 %.")
