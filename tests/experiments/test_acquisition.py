"""What a trial may bring, against densities and expectations worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from experiments.acquisition import (
    TruthDraws,
    improvement,
    log_weight_change,
    normalise,
    qualified_time,
    reading_shock,
)
from models.noise import COMMON_SHARE


def make_draws(rng: np.random.Generator, settings: int = 3, count: int = 6) -> TruthDraws:
    reading = rng.normal(size=(settings, count, 4))
    return TruthDraws(
        time=rng.uniform(20, 60, (settings, count)), good=np.ones((settings, count)),
        reading=reading, noise_sd=np.full(reading.shape, 0.7),
        usable=np.ones((settings, count), dtype=bool),
    )


def test_weights_follow_the_density_of_a_reading_with_a_common_effect() -> None:
    rng = np.random.default_rng(1)
    draws = make_draws(rng)
    shock = reading_shock(2, 4, rng)
    change = log_weight_change(draws, 1, np.array([0, 3]), shock)
    correlation = np.eye(4)
    correlation[1:, 1:] = (1 - COMMON_SHARE) * np.eye(3) + COMMON_SHARE
    for j, source in enumerate((0, 3)):
        result = draws.reading[1, source] + 0.7 * shock[j]
        density = multivariate_normal(result, 0.49 * correlation).logpdf(draws.reading[1])
        assert change[j] - change[j, 0] == pytest.approx(density - density[0])


def test_recoveries_of_one_run_share_their_scatter() -> None:
    shock = reading_shock(40_000, 3, np.random.default_rng(2))
    known = [[1, 0, 0], [0, 1, COMMON_SHARE], [0, COMMON_SHARE, 1]]
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
