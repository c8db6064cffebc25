"""The Python contract: a script plays a laboratory, without a store and without a disk."""

from __future__ import annotations

import math
import time
import tomllib
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from experiments import Dossier, DossierError

JOB = Path(__file__).parents[2] / "examples" / "semivolatiles_to_dryness.toml"
SETTING = {"set_temperature_c": 45, "ramp_rate_mbar_per_min": 50, "end_pressure_mbar": 100}
FACTORS = ("set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar")
RECORDED = [  # setting, minutes, share recovered
    ((40, 50, 150), 34.0, 0.93),
    ((50, 100, 100), 26.0, 0.90),
    ((30, 20, 250), 58.0, 0.96),
]


@pytest.fixture
def dossier():
    return Dossier.start(JOB)


def names(dossier):
    return [a.name for a in dossier.job.analytes]


def is_forecast(dossier, found):
    intervals = [found.run_time_min, *found.recovery_percent.values()]
    assert all(i.low <= i.mean <= i.high for i in intervals), found
    assert all(math.isfinite(v) for i in intervals for v in (i.low, i.mean, i.high))
    assert list(found.recovery_percent) == names(dossier)
    assert 0.0 <= found.probability <= 1.0


def spread(interval):
    return math.log(interval.high / interval.low)


def test_todays_method_is_trial_one_and_counts_in_the_budget(dossier):
    (first,) = dossier.trials
    assert (first.id, first.setting) == ("T1", tomllib.loads(JOB.read_text())["today"]["setting"])
    assert dossier.pending == (first,)


def test_trials_are_proposed_beyond_those_pending_with_reason_and_forecast(dossier):
    trials = dossier.propose(3)
    assert [t.id for t in trials] == ["T2", "T3", "T4"]
    factors = {f.name: f for f in dossier.job.factors}
    for trial in trials:
        assert list(trial.setting) == list(factors)
        assert all(f.low <= trial.setting[n] <= f.high for n, f in factors.items())
        assert trial.reason.strip().endswith((".", ")"))
        assert set(trial.run_time_min) == {"mean", "low", "high"}
        assert set(trial.recovery_percent) == set(names(dossier))
    assert len({tuple(t.setting.values()) for t in dossier.pending}) == 4
    dossier.withdraw("T3")
    assert [t.id for t in dossier.pending] == ["T1", "T2", "T4"]


def test_no_trial_is_proposed_beyond_the_budget():
    job = tomllib.loads(JOB.read_text())
    job["limits"] |= {"trials": 2, "trials_per_batch": 2}
    dossier = Dossier.start(job)
    assert len(dossier.propose(3)) == 1
    assert dossier.propose(3) == []
    assert "budget" in dossier.stop_reason


def test_a_forecast_needs_no_trial(dossier):
    setting = dossier.trials[0].setting
    mean, run = dossier.forecast([setting]), dossier.forecast([setting], new_run=True)
    is_forecast(dossier, mean[0])
    assert spread(run[0].run_time_min) > spread(mean[0].run_time_min)
    narrow = dossier.forecast([setting], level=0.5)[0]
    assert narrow.run_time_min.low > mean[0].run_time_min.low
    with pytest.raises(DossierError):
        dossier.forecast([{**setting, "end_pressure_mbar": math.nan}])


@pytest.mark.parametrize("call", [
    lambda d, s: d.forecast(None), lambda d, s: d.forecast(s), lambda d, s: d.forecast(5),
    lambda d, s: d.forecast([s], new_run="no"), lambda d, s: d.forecast([s], level=True),
    lambda d, s: d.recommend(robust="no"), lambda d, s: d.propose(True),
    lambda d, s: d.propose(2.0),
])
def test_a_call_that_means_nothing_is_refused_in_one_sentence(dossier, call):
    before = dossier.events
    with pytest.raises(DossierError) as caught:
        call(dossier, SETTING)
    assert caught.value.cure
    assert dossier.events == before


def test_numbers_of_numpy_are_numbers(dossier):
    plain = dossier.forecast([SETTING], level=0.5)
    assert dossier.forecast([SETTING], level=np.float32(0.5), new_run=np.bool_(False)) == plain


def test_what_one_run_may_show_holds_what_the_true_mean_may_be(dossier):
    settings = dossier.fitted().space.spread(48, 3)
    for level in (0.5, 0.95):
        truth = dossier.forecast(settings, level=level)
        shown = dossier.forecast(settings, level=level, new_run=True)
        for inner, outer in zip(truth, shown, strict=True):
            for a, b in ((inner.run_time_min, outer.run_time_min),
                         *zip(inner.recovery_percent.values(), outer.recovery_percent.values(),
                              strict=True)):
                assert b.low <= a.low <= a.high <= b.high


@pytest.mark.slow
def test_a_job_with_nothing_to_choose_is_forecast_proposed_and_judged():
    """A method that stands: no free factor, and the one setting it has."""
    job = tomllib.loads(JOB.read_text())
    job["factors"] = dict(zip(FACTORS, (40, 50, 150), strict=True))
    del job["today"]
    dossier = Dossier.start(job)
    (only,) = dossier.propose(1)
    assert only.setting == dict(zip(FACTORS, (40, 50, 150), strict=True))
    is_forecast(dossier, dossier.forecast([only.setting])[0])
    dossier.record(only.id, run_time_min=34.0, recovery_percent=dict.fromkeys(names(dossier), 93))
    answer = dossier.recommend()
    is_forecast(dossier, answer)
    assert (answer.setting or answer.compromise.setting) == only.setting


def record(dossier, order):
    for i in order:
        values, minutes, share = RECORDED[i]
        setting = dict(zip(FACTORS, values, strict=True))
        dossier.record(setting=setting, run_time_min=minutes, recovery_percent={
            name: [100 * share - j, None, 100 * share + 1]
            for j, name in enumerate(names(dossier))
        })


@pytest.mark.slow
def test_the_same_records_in_any_order_give_the_same_answer():
    answers = []
    for order in list(permutations(range(3)))[::2]:
        dossier = Dossier.start(JOB)
        record(dossier, order)
        answers.append(dossier.recommend())
    assert answers[1] == answers[0]
    assert answers[2] == answers[0]


@pytest.mark.slow
def test_an_answer_has_everything_the_contract_names(dossier):
    record(dossier, range(3))
    answer = dossier.recommend()
    assert answer.status in ("recommended", "more trials needed", "nothing qualifies")
    assert answer.reason
    is_forecast(dossier, answer)
    assert (answer.setting is None) == (answer.status != "recommended")
    is_forecast(dossier, answer.compromise)
    assert dossier.recommend() == answer
    fastest = dossier.recommend(robust=False)
    if fastest.setting is not None:
        assert fastest.setting == answer.fastest.setting


@pytest.mark.slow
@pytest.mark.timed
def test_a_second_answer_on_unchanged_data_takes_at_most_a_second(dossier):
    """Issue of speed: the second call with unchanged data within 1 s on two cores."""
    record(dossier, range(3))
    dossier.recommend()
    start = time.perf_counter()
    dossier.recommend()
    assert time.perf_counter() - start < 1.0
