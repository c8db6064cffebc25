"""The grid over analyte parameters against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import norm

from models import analyte_evidence as grid


def test_evidence_is_the_sum_over_the_grid() -> None:
    """Independent readings (no discrepancy): a product of normal densities, summed by hand."""
    rng = np.random.default_rng(8)
    exponent = rng.random((4, 3, 1)) * 0.3
    dose, film = np.zeros((4, 3, 1)), np.full(4, 1e-6)
    multiplier = np.exp(0.5 * grid.VOLATILITY_NODES)[None]
    table = grid.survival_table(exponent, dose, film, np.array([1e-8]), multiplier)
    thermal = rng.random(4) * 4000
    y, sd = 0.8 + 0.1 * rng.random(4), 0.05
    evidence, _ = grid.analyte_evidence(
        table[None], thermal[None], y[:, None], np.full((1, 4, 1), sd**2), np.ones((4, 4)),
        np.array([[1e-9]]), np.array([1.0]), grid.THERMAL_RATES, grid.CEILINGS,
        grid.log_prior(), np.array([[0.5]]),
    )
    volatility, rate, ceiling = grid.log_prior()
    terms = []
    for g, weight_g in enumerate(volatility):
        alive = np.exp(-multiplier[0, g] * exponent[:, :, 0]).mean(axis=1)
        for t, weight_t in enumerate(rate):
            for c, weight_c in enumerate(ceiling):
                mean = grid.CEILINGS[c] * alive * np.exp(-grid.THERMAL_RATES[t] * thermal)
                terms.append(weight_g + weight_t + weight_c + norm(mean, sd).logpdf(y).sum())
    assert evidence[0, 0] - 2.0 * np.log(2 * np.pi) == pytest.approx(logsumexp(terms), abs=1e-6)


def test_surviving_fraction_falls_with_volatility_and_never_leaves_zero_to_one() -> None:
    rng = np.random.default_rng(1)
    exponent, dose = rng.random((30, 3, 2)), 1e-7 * rng.random((30, 3, 2))
    multiplier = np.tile(np.exp(np.linspace(-3, 3, 9)), (2, 1))
    table = grid.survival_table(exponent, dose, np.full(30, 1e-6), np.full(2, 5e-8), multiplier)
    assert (np.diff(table, axis=2) <= 1e-12).all()
    assert table.min() >= 0.0
    assert table.max() <= 1.0


def test_prior_weights_sum_to_one() -> None:
    for weights in grid.log_prior():
        assert np.exp(weights).sum() == pytest.approx(1.0)
