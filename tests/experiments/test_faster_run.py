"""Why a faster run that went well is not the recommendation."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from experiments.answers import Forecast, Interval, weakest
from experiments.faster_run import why_not_faster
from experiments.trials import Recovery, Result, Trial
from tests.experiments.justification.conftest import JOB, SET_POINT


def ran(trial_id: str, minutes: float, carvone: float, outcome: str = "finished") -> Trial:
    recovery = {"carvone": (Recovery(carvone), None), "dibutyl phthalate": (Recovery(95.0),)}
    return Trial(trial_id, SET_POINT, state="recorded",
                 result=Result(minutes, outcome, recovery, dict.fromkeys(recovery, False)))


def known(*trials: Trial, cool: float = 0.99, finish: float = 0.99, carvone: float = 0.99):
    found = Forecast(SET_POINT, Interval(40.0, 35.0, 45.0),
                     {"carvone": Interval(82.0, 74.0, 90.0)}, cool * finish * carvone, finish,
                     too_warm_probability=1.0 - cool,
                     analyte_probability={"carvone": carvone, "dibutyl phthalate": 0.999})
    return SimpleNamespace(job=JOB, trials=trials, forecast=lambda settings: [found])


@pytest.mark.parametrize(("chances", "said"), [
    ({"cool": 0.64}, "keeps everything asked is 62 %, because the sample may get warmer than "
                     "55 degC (chance 36 %)."),
    ({"finish": 0.70}, "because the run may not be done within 120 min (chance 30 %)."),
    ({"carvone": 0.60}, "because carvone may miss its target of 80 % (forecast 82 %, 74 to "
                        "90 %; chance to miss 40 %)."),
    ({}, "its setting does not keep them within the equipment's tolerance."),
])
def test_the_faster_run_and_what_is_least_certain_are_named(chances, said):
    text = why_not_faster(known(ran("T1", 41.0, 90.0), ran("T2", 38.2, 85.0), **chances), 70.0)
    assert text.startswith("T2 was faster (38 min) and met every target in its mean, but ")
    assert text.endswith(said)


@pytest.mark.parametrize("trial", [
    ran("T1", 71.0, 95.0), ran("T1", 30.0, 79.9), ran("T1", 30.0, 95.0, "not dry")])
def test_nothing_is_said_where_no_good_run_was_faster(trial):
    assert why_not_faster(known(trial), 70.0) == ""


@pytest.mark.parametrize(("finish", "boils", "warm", "fails"), [
    (0.99, 0.01, 0.06, "sample temperature"), (0.90, 0.01, 0.06, "run time"),
    (0.99, 0.30, 0.06, "boil-over"), (0.995, 0.001, 0.001, "carvone")])
def test_what_is_least_certain_fails_first(finish, boils, warm, fails):
    found = Forecast(SET_POINT, Interval(40.0, 35.0, 45.0), {}, 0.5, finish, boils,
                     {"carvone": 0.992, "dibutyl phthalate": 0.999}, warm)
    assert weakest(JOB, found) == fails
