"""Why a trial is worth running, in the analyst's words."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from experiments.answers import Forecast, Interval
from experiments.job import Analyte, Limits
from experiments.reasons import trial_reason

TARGET = 85.0


def known(finish: float, analyte: float, boil_over: float = 0.0):
    """What a fit forecasts everywhere, with these chances to end and to keep the one target."""
    found = Forecast({}, Interval(42.0, 33.0, 59.0), {"lindane": Interval(90.0, 80.0, 100.0)},
                     finish * analyte, finish, boil_over, analyte_probability={"lindane": analyte})
    job = SimpleNamespace(analytes=[Analyte("lindane", TARGET)], limits=Limits())
    return SimpleNamespace(job=job, forecast=lambda settings, level=0.95: [found])


@pytest.mark.parametrize(("finish", "analyte", "begins"), [
    (0.71, 0.95, "Shows whether a run ends as it should here (71 %): 33 to 59 min if it does, "),
    (0.95, 0.95, "May be the faster method: 33 to 59 min, 90.2 %"),
    (0.71, 0.60, "Decides lindane:"),
    (0.99, 0.99, "Already likely to keep every target (98 %)"),
    (0.95, 0.002, "No setting has much of a chance (0.2 % here); a run here tells whether lindane "
                  "really stays near 90 %, against a target of 85 %, in about 42 min."),
    (0.01, 0.5, "No setting has much of a chance (0.5 % here); a run here tells whether it "
                "really does not end within 240 min."),
    (0.5, 0.6, "Shows whether a run ends as it should here (50 %)"),
])
def test_the_reason_names_what_is_least_certain(finish, analyte, begins):
    assert trial_reason(known(finish, analyte), {}, 1.0, safe=False).startswith(begins)


def test_where_liquid_may_be_thrown_out_the_reason_says_so():
    said = {p: trial_reason(known(0.95, 0.95, p), {}, 1.0, safe=False) for p in (0.02, 0.2)}
    assert said[0.2] == said[0.02] + " Watch it: liquid may be thrown out (chance 20 %)."


@pytest.mark.parametrize(("chance", "begins"), [
    (0.9, "A safe start:"), (0.3, "A start, if no"), (0.001, "A start: no setting has much of")])
def test_a_start_is_called_safe_only_where_it_is(chance, begins):
    assert trial_reason(known(1.0, chance), {}, 0.0, safe=True).startswith(begins)
