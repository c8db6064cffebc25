"""The limit that the noise sets."""

from __future__ import annotations

from functools import partial
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from experiments.studies import oracle
from experiments.studies.bench import Bench, Noise, Truth
from experiments.studies.physical import physical_bench


def test_the_figures_in_words() -> None:
    limit = oracle.Limit(9.0, np.array([0.1, 0.3, np.nan, 0.2]), np.array([0.6, 0.4, 0.0, 0.5]))
    assert limit.sentence == (
        "With the error of 9 runs at every setting: claims on 75% of 4 benches, median excess "
        "20%, within 25% of the fastest on 50%; its region is 45% of the true one in the median, "
        "at least half of it on 50%."
    )
    nothing = oracle.Limit(9.0, np.array([np.nan]), np.array([0.0]))
    assert "median excess -" in nothing.sentence


@pytest.mark.slow
def test_less_is_known_with_fewer_runs() -> None:
    """And no claim is faster than the fastest feasible setting, as far as a grid can tell."""
    excess, region = oracle.reach_of_oracle(24).T
    assert physical_bench(24).kind == "medium"
    assert excess[0] > -0.02
    assert (np.diff(excess) >= 0.0).all()
    assert (np.diff(region) <= 0.0).all()
    assert (region > 0.0).all()
    assert (region <= 1.0).all()


def test_odds_are_those_of_as_many_runs_as_the_quick_benchmark_makes(monkeypatch) -> None:
    asked = []
    monkeypatch.setattr(oracle, "_known", lambda seed: (seed, None, 1.0))
    monkeypatch.setattr(oracle, "odds", lambda *given: asked.append(given[-1]))
    oracle.odds_of_oracle(24)
    assert asked == [9]


def test_odds_are_those_of_a_normal_mean() -> None:
    """One analyte, one setting a standard error above its target and one far below but faster.

    At level L it is claimed where the reading's luck exceeds z(L) - 1 (worked out by hand).
    """
    noise = Noise(0.0, 0.05, 0.05, 0.03, 0.05)
    error = 90.0 * 0.05 / 3.0
    truth = Truth(np.array([40.0, 20.0]), np.array([[[90.0]], [[40.0]]]), np.zeros(2), np.zeros(2))
    bench = SimpleNamespace(noise=noise, vessels=6, targets=np.array([90.0 - error]), seed=1)
    bench.feasible = partial(Bench.feasible, bench)
    found = oracle.odds(bench, truth, 40.0, 9.0)
    known = norm.cdf(1.0 - norm.ppf(oracle.LEVELS))
    assert found[:, 0] == pytest.approx(known, abs=4 * 0.5 / np.sqrt(oracle.PLAYS))
    assert (found == found[:, :1]).all()
    assert (oracle.odds(bench, truth, 30.0, 9.0)[:, 2] == 0.0).all()
    assert "Claiming at 95%" in oracle.odds_in_words(found[None])[-1]
