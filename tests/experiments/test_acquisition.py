"""What a trial may bring, against densities and expectations worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from experiments.acquisition import (
    TruthDraws,
    improvement,
    log_weight_change,
    normalise,
    proving_chance,
    qualified_time,
    reading_shock,
)
from models.noise import DAY_SHARE

COMMON = 0.3


def make_draws(rng: np.random.Generator, settings: int = 3, count: int = 6) -> TruthDraws:
    reading = rng.normal(size=(settings, count, 4))
    return TruthDraws(
        time=rng.uniform(20, 60, (settings, count)), good=np.ones((settings, count)),
        reading=reading, noise_sd=np.full(reading.shape, 0.7),
        usable=np.ones((settings, count), dtype=bool), keeps=np.ones((settings, count)),
        common=COMMON,
    )


def test_weights_follow_the_density_of_a_reading_with_a_common_effect() -> None:
    rng = np.random.default_rng(1)
    draws = make_draws(rng)
    shock = reading_shock(2, 4, COMMON, rng)
    change = log_weight_change(draws, 1, np.array([0, 3]), shock)
    correlation = np.eye(4)
    correlation[1:, 1:] = (1 - COMMON) * np.eye(3) + COMMON
    for j, source in enumerate((0, 3)):
        result = draws.reading[1, source] + 0.7 * shock[j]
        density = multivariate_normal(result, 0.49 * correlation).logpdf(draws.reading[1])
        assert change[j] - change[j, 0] == pytest.approx(density - density[0])


def test_recoveries_of_one_run_share_their_scatter() -> None:
    shock = reading_shock(40_000, 3, COMMON, np.random.default_rng(2))
    known = [[1, 0, 0], [0, 1, COMMON], [0, COMMON, 1]]
    assert np.corrcoef(shock.T) == pytest.approx(np.array(known), abs=0.03)


def test_improvement_counts_only_good_and_faster_draws() -> None:
    time = np.array([[30.0, 50.0], [20.0, 20.0]])
    good = np.array([[1.0, 1.0], [1.0, 0.0]])
    weight = np.array([[0.5, 0.5]])
    gain = improvement(time, good, weight, np.array([40.0]))
    assert gain == pytest.approx([0.5 * 10.0, 0.5 * 20.0])
    assert improvement(time, 0.0 * good, weight, np.array([40.0])) == pytest.approx([0.0, 0.0])


def test_nothing_qualifies_below_the_assurance() -> None:
    time, good = np.full((1, 10), 30.0), np.ones((1, 10))
    good[0, 0] = 0.0
    even = np.full((1, 10), 0.1)
    assert qualified_time(time, good, even, 0.95, 90.0) == pytest.approx([90.0])
    assert qualified_time(time, good, even, 0.85, 90.0) == pytest.approx([30.0])


def test_weights_sum_to_one_and_never_rest_on_a_single_draw() -> None:
    weight = normalise(np.array([[0.0] * 19 + [500.0]]))
    assert weight.sum() == pytest.approx(1.0)
    assert 1.0 / np.sum(weight**2) >= 8.0


def sure_draws(keeps: np.ndarray, rng: np.random.Generator) -> TruthDraws:
    """One setting whose only recovery is one standard deviation above a target of zero."""
    count = len(keeps)
    reading = np.stack([np.zeros(count), 1.0 + rng.standard_normal(count)], axis=1)[None]
    return TruthDraws(
        time=np.full((1, count), 30.0), good=np.ones((1, count)), reading=reading,
        noise_sd=np.full(reading.shape, 1.5), usable=np.ones((1, count), dtype=bool),
        keeps=keeps[None], common=COMMON,
    )


def test_chance_of_proof_is_that_of_a_normal_mean() -> None:
    """Known closed form of conjugate normal updating (worked out by hand).

    The later mean is normal with what the runs take away from the variance.
    """
    rng = np.random.default_rng(4)
    runs, count = 3, 60_000
    draws = sure_draws(np.ones(count), rng)
    noise = 1.5**2 * ((1.0 - DAY_SHARE) / runs + DAY_SHARE)  # three runs of one day
    left = 1.0 / (1.0 + 1.0 / noise)
    expected = norm.cdf((1.0 - norm.ppf(0.9) * np.sqrt(left)) / np.sqrt(1.0 - left))
    chance = proving_chance(draws, np.zeros(1), np.array([True]), 0.9, runs, 3,
                            rng.standard_normal((2, count, 1)))
    assert chance == pytest.approx([expected], abs=0.01)  # four standard errors


def test_runs_that_may_boil_over_prove_less_often() -> None:
    rng = np.random.default_rng(5)
    count = 20_000
    shock = rng.standard_normal((1, count, 1))
    calm = sure_draws(np.ones(count), rng)
    keeps = np.repeat([0.0, 1.0], count // 2)
    half = proving_chance(replace(calm, keeps=keeps[None]), np.zeros(1), np.array([True]), 0.9,
                          3, 3, shock)
    whole = proving_chance(calm, np.zeros(1), np.array([True]), 0.9, 3, 3, shock)
    never = proving_chance(calm, np.full(1, 9.0), np.array([True]), 0.9, 3, 3, shock)
    assert half == pytest.approx(0.5 * whole, abs=0.02)
    assert never == pytest.approx([0.0])
