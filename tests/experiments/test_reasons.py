"""Why a trial is worth running, in the analyst's words."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from experiments.answers import Forecast, Interval
from experiments.job import Analyte, Limits
from experiments.reasons import trial_reason

TARGET = 85.0


def known(finish: float, analyte: float):
    """What a fit forecasts everywhere, with these chances to end and to keep the one target."""
    found = Forecast({}, Interval(42.0, 33.0, 59.0), {"lindane": Interval(90.0, 80.0, 100.0)},
                     finish * analyte, finish, analyte_probability={"lindane": analyte})
    job = SimpleNamespace(analytes=[Analyte("lindane", TARGET)], limits=Limits())
    return SimpleNamespace(job=job, forecast=lambda settings, level=0.95: [found])


@pytest.mark.parametrize(("finish", "analyte", "begins"), [
    (0.71, 0.95, "Shows whether a run ends as it should here (71 %): 33 to 59 min if it does, "),
    (0.95, 0.95, "May be the faster method: 33 to 59 min, 90 %"),
    (0.71, 0.60, "Decides lindane:"),
    (0.99, 0.99, "Already likely to keep every target (98 %)"),
])
def test_the_reason_names_what_is_least_certain(finish, analyte, begins):
    assert trial_reason(known(finish, analyte), {}, 1.0, safe=False).startswith(begins)
