"""Every peer plays a toy bench in good faith, the same way for the same seed."""

from __future__ import annotations

from dataclasses import replace
from importlib.util import find_spec

import numpy as np
import pytest

from experiments.studies import strategies
from experiments.studies.bench import Bench
from experiments.studies.playing import Goal, play, probe_settings
from experiments.studies.strategies import (
    ALL,
    NEEDS,
    MissingExtra,
    check_available,
    make_strategy,
)
from experiments.studies.strategy import Problem, observe

PLAIN = tuple(n for n in ALL if n not in NEEDS and n != strategies.OURS)
MODELLED = tuple(n for n in PLAIN if n != "one factor at a time")


def _goal(bench: Bench) -> Goal:
    best = bench.best()
    assert best is not None
    return Goal(best[1], True)


@pytest.mark.parametrize("name", PLAIN)
def test_settings_can_be_dialled_and_stay_in_the_window(bowl: Bench, name: str) -> None:
    strategy = make_strategy(name, Problem.of(bowl, 3), 18)
    rng = np.random.default_rng(0)
    for _ in range(6):
        for setting in strategy.propose(3):
            assert set(setting) == {f.name for f in bowl.free}
            for factor in bowl.free:
                value = float(setting[factor.name])
                assert factor.low <= value <= factor.high
                assert value == pytest.approx(round(value / factor.resolution)
                                              * factor.resolution)
            strategy.record(setting, bowl.run(setting, rng))


@pytest.mark.parametrize("name", PLAIN)
def test_same_seed_same_play(bowl: Bench, name: str) -> None:
    plays = [
        play(bowl, _goal(bowl), name, make_strategy(name, Problem.of(bowl, 5), 9), 1, (9,))
        for _ in range(2)
    ]
    timed = ("seconds_per_proposal", "seconds_to_recommend")
    one, other = ({k: v for k, v in p[0].items() if k not in timed} for p in plays)
    assert one == other


@pytest.mark.parametrize("name", MODELLED)
def test_a_quiet_toy_is_solved_within_thirty_trials(bowl: Bench, name: str) -> None:
    problem = replace(Problem.of(bowl, 2), noise_scale=0.2)  # the toy's noise is that small
    score = play(bowl, _goal(bowl), name, make_strategy(name, problem, 30), 0, (30,))[0]
    assert score["trials"] == 30
    assert score["vessels"] == 120
    assert score["injections"] <= 120
    assert score["claimed"]
    # a quadratic is not the toy's surface, so response surfaces may miss by a point
    assert score["feasible"] or score["shortfall"] < 1.5
    assert score["excess"] < 0.6


def test_one_factor_at_a_time_recommends_only_what_was_run(bowl: Bench) -> None:
    strategy = make_strategy("one factor at a time", Problem.of(bowl, 2), 15)
    rng = np.random.default_rng(8)
    run = []
    for _ in range(5):
        for setting in strategy.propose(3):
            run.append(setting)
            strategy.record(setting, bowl.run(setting, rng))
    claim = strategy.claim()
    assert claim.compromise in run
    if claim.setting is not None:
        assert claim.probability >= bowl.assurance


def test_runs_that_give_nothing_do_not_stop_a_peer(bowl: Bench) -> None:
    nothing = {"run_time_min": None, "outcome": "not dry", "recovery_percent": {}}
    for name in PLAIN:
        strategy = make_strategy(name, Problem.of(bowl, 1), 12)
        for _ in range(4):
            for setting in strategy.propose(3):
                strategy.record(setting, nothing)
        assert strategy.claim().setting is None


def test_censored_and_lost_readings_enter_the_mean(bowl: Bench) -> None:
    problem = Problem.of(bowl, 0)
    setting = problem.decode(np.array([0.5, 0.5, 0.5]))
    seen = observe(problem, setting, {
        "run_time_min": 30.0, "outcome": "finished",
        "recovery_percent": {"naphthalene": [80.0, None, "<5", 70.0]},
    })
    assert seen.recovery[0] == pytest.approx((80.0 + 2.5 + 70.0) / 3)
    np.testing.assert_allclose(problem.encode(problem.decode(seen.u)), seen.u, atol=1e-9)


@pytest.mark.parametrize("name", NEEDS)
def test_a_missing_extra_is_one_sentence_with_a_cure(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(strategies, "find_spec", lambda package: None)
    with pytest.raises(MissingExtra, match=r"needs .*torch.*pip install 'boilwright\[study\]'"):
        check_available(name)
    assert not strategies.is_available(name)


def test_availability_follows_what_is_installed() -> None:
    assert strategies.is_available("BoTorch") == (
        find_spec("torch") is not None and find_spec("botorch") is not None)
    assert all(strategies.is_available(n) for n in PLAIN)
    with pytest.raises(KeyError, match="Unknown strategy"):
        check_available("guess")


def test_probes_truly_finish(bowl: Bench) -> None:
    settings = probe_settings(bowl)
    assert settings
    assert all(bowl.truth(s)[2] == "finished" for s in settings)


@pytest.mark.slow
def test_boilwright_plays_through_the_contract(surface: Bench) -> None:
    scores = play(surface, _goal(surface), strategies.OURS,
                  make_strategy(strategies.OURS, Problem.of(surface, 0), 6), 0, (3, 6))
    assert [s["trials"] for s in scores] == [3, 6]
    for score in scores:
        assert 0.0 <= score["probability"] <= 1.0
        assert score["claimed"] == (score["probability"] >= 0.95)
        assert score["probe_time_80%"] <= score["probe_time_95%"] <= score["probe_time_n"]
