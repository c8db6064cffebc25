"""A vessel below its limit among neighbours that read well is told, and still counts."""

from __future__ import annotations

import pytest

from experiments.diagnostics import lost_vessels
from experiments.trials import Recovery, Result, Trial


def ran(*readings: Recovery | None) -> Trial:
    return Trial("T2", {}, state="recorded", result=Result(31.2, "finished", {"HX-204": readings}))


def test_the_vessel_is_named_by_its_own_number():
    (found,) = lost_vessels([ran(Recovery(88.1), None, Recovery(5.0, censored=True),
                                 Recovery(87.6))])
    assert found.message == ("Vessel 3 of T2 reads below 5 % of HX-204 where its neighbours read "
                             "88 % or more.")
    assert found.cure


@pytest.mark.parametrize("readings", [
    (Recovery(5.0, censored=True), Recovery(5.0, censored=True)),
    (Recovery(8.0), Recovery(5.0, censored=True)),
    (Recovery(88.0), None, Recovery(87.0)),
    (),
])
def test_low_neighbours_or_none_below_a_limit_say_nothing(readings):
    assert lost_vessels([ran(*readings)]) == ()
