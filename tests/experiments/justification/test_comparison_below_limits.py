"""Comparisons of recoveries below a limit: true for whatever the readings really were.

The interval of a mean that is known only within bounds is that of every value in them
(Manski, Partial Identification of Probability Distributions, 2003, chapter 1; from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from experiments.comparison import compare_trials
from experiments.json_data import plain
from experiments.method_in_use import today_against_recommended
from experiments.trials import Recovery, Result, Trial
from tests.experiments.justification.conftest import SET_POINT

HELD = (93.0, 91.5, 92.5, 94.0, 92.0, 93.5)


def run(case, trial_id, degrees, readings, day=""):
    """A run of six vessels, readings as numbers or like "<5"."""
    held = tuple(Recovery(float(str(r).lstrip("<")), str(r).startswith("<")) for r in readings)
    case.trials += (Trial(trial_id, {**SET_POINT, "set_temperature_c": degrees}, state="recorded",
                          result=Result(40.0, "finished", {"carvone": held}, {"carvone": False},
                                        day=day)),)


def against(case, second, first=HELD):
    """The difference of carvone between two single runs."""
    case.clear()
    run(case, "T1", 40.0, first)
    run(case, "T2", 45.0, second)
    return next(d for d in compare_trials(case, ["T1", "T2"]).differences if "carvone" in d.what)


def test_a_mean_that_was_not_measured_is_not_stated(case):
    found = against(case, ["<50"] * 6)
    assert math.isnan(found.second_value)
    assert math.isnan(found.difference)
    assert found.second_span == (0.0, 50.0)
    assert found.verdict == "different", "at most 50 is less than 93 all the same"
    assert "92.8 and 0 to 50, difference -1" in found.sentence
    assert found.sentence.endswith("count as anything from zero to that limit.")
    assert plain(found)["difference"] is None


@pytest.mark.parametrize("limit", [4, 60, 90])
def test_the_interval_holds_for_whatever_the_readings_really_were(case, limit):
    second = [90.0, 91.0, 92.0, *[f"<{limit}"] * 3]
    found = against(case, second)
    for true in (0.001, 0.3 * limit, 0.7 * limit, limit):
        plainly = against(case, [*second[:3], true, true, true])
        assert found.low <= plainly.low + 1e-3
        assert found.high >= plainly.high - 1e-3
        assert found.verdict in (plainly.verdict, "cannot tell")


def test_what_half_the_limit_would_call_different_may_not_be_told(case):
    """Six readings below 90 %: half of that would be 48 points less."""
    found = against(case, ["<90"] * 6)
    assert found.verdict == "cannot tell"
    assert found.low < -90.0
    assert found.high > 0.0


def test_two_sides_below_their_limits_are_not_called_the_same(case):
    found = against(case, ["<50"] * 6, ["<50"] * 6)
    assert found.verdict == "cannot tell"
    assert found.low < -50.0 < 50.0 < found.high
    assert "0 to 50 and 0 to 50" in found.sentence


def test_a_little_below_a_limit_leaves_a_mean_that_is_stated_and_says_so(case):
    found = against(case, [60.0, 61.0, 62.0, 63.0, 64.0, "<5"])
    assert found.second_value == pytest.approx((310.0 + 2.5) / 6)
    assert found.difference == pytest.approx(found.second_value - sum(HELD) / 6)
    assert "below their limit" in found.sentence


def test_without_such_readings_nothing_changes(case):
    found = against(case, [60.0, 61.0, 62.0, 63.0, 64.0, 65.0])
    assert not found.is_open
    assert "limit" not in found.sentence


@pytest.mark.parametrize(("new", "verdict"), [("<50", "different"), ("<99", "cannot tell")])
def test_methods_paired_by_day_count_such_readings_alike(case, new, verdict):
    case.job = replace(case.job, today={**SET_POINT, "set_temperature_c": 40.0})
    for i, day in enumerate(("Mon", "Tue", "Wed", "Thu")):
        run(case, f"A{i}", 40.0, [v + 0.3 * i for v in HELD], day)
        run(case, f"B{i}", SET_POINT["set_temperature_c"], [new] * 6, day)
    (found,) = today_against_recommended(case).differences
    assert found.verdict == verdict
    assert math.isnan(found.difference)
    assert found.second_span == (0.0, float(new[1:]))
    assert "below their limit" in found.sentence
