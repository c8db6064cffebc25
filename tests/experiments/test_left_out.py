"""Runs left out: how much each draw counts for the forecast of one run by the others."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from experiments.diagnostics import left_out_weights

RNG = np.random.default_rng(7)
DRAWS, ANALYTES = 5, 4
MEAN = np.column_stack([RNG.normal(3.2, 0.05, DRAWS), RNG.normal(92.0, 2.0, (DRAWS, ANALYTES))])
NOISE = np.column_stack([np.full(DRAWS, 0.09), RNG.uniform(4.0, 6.0, (DRAWS, ANALYTES))])
COMMON = np.array([0.05, 0.3, 0.5, 0.8, 0.95])
SEEN = np.array([3.3, 90.0, 91.0, 89.5, 90.5])


def inverse_density(seen: np.ndarray, draw: int) -> float:
    """By scipy: recoveries whose scatter has a common part, run time apart from them."""
    sd = NOISE[draw, 1:]
    share = COMMON[draw]
    covariance = np.outer(sd, sd) * (share + (1.0 - share) * np.eye(ANALYTES))
    known = np.isfinite(seen[1:])
    density = 1.0
    if known.any():
        density = multivariate_normal(
            MEAN[draw, 1:][known], covariance[np.ix_(known, known)]).pdf(seen[1:][known])
    if np.isfinite(seen[0]):
        density *= norm(MEAN[draw, 0], NOISE[draw, 0]).pdf(seen[0])
    return 1.0 / density


@pytest.mark.parametrize("missing", [(), (0,), (2, 3), (1, 2, 3, 4), (0, 1, 2, 3)])
def test_draws_count_by_the_inverse_of_the_density_of_the_whole_run(missing: tuple) -> None:
    seen = SEEN.copy()
    seen[list(missing)] = np.nan
    plain = np.array([inverse_density(seen, i) for i in range(DRAWS)])
    truncated = np.minimum(plain, plain.mean() * np.sqrt(DRAWS))  # Ionides 2008
    assert left_out_weights(seen, MEAN, NOISE, COMMON) == pytest.approx(
        truncated / truncated.sum(), rel=1e-9)


def test_ten_low_readings_of_one_unlucky_run_are_no_ten_proofs() -> None:
    """Two draws, of which one explains the run by a loss of all analytes and one by bad luck."""
    mean, noise = np.array([[3.2] + 10 * [93.0], [3.2] + 10 * [99.0]]), np.full((2, 11), 5.0)
    seen = np.array([3.2] + 10 * [92.0])
    luck_shared = left_out_weights(seen, mean, noise, np.full(2, 0.95))
    luck_apart = left_out_weights(seen, mean, noise, np.full(2, 0.0))
    assert luck_apart[0] < 0.01 < 0.2 < luck_shared[0]
