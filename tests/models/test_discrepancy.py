"""The discrepancy against scikit-learn's Gaussian process and against its own draws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel

from models.discrepancy import (
    Kinship,
    PriorPaths,
    condition,
    gaussian_evidence,
    squared_distance,
)

DAY = 0.09
SAME_DAY = np.kron(np.eye(4), np.ones((2, 2)))[:7, :7]
"""Seven runs in pairs of a day, the last one alone."""


@pytest.fixture
def case() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(2)
    coded, new = rng.random((7, 2)), rng.random((5, 2))
    return {
        "coded": coded, "new": new, "r": rng.normal(size=7), "noise": 0.05 + 0.1 * rng.random(7),
    }


def _condition(case: dict[str, np.ndarray], particles: int, rng: np.random.Generator):  # noqa: ANN202
    coded, new = case["coded"], case["new"]
    length = np.full(particles, 0.5)
    paths = PriorPaths(particles, np.arange(1), 2, rng, features=400)
    var = np.tile((case["noise"] ** 2)[None, :, None], (particles, 1, 1))
    residual = np.tile(case["r"][None, :, None], (particles, 1, 1))
    noise = np.sqrt(var) * rng.standard_normal(residual.shape)
    noise += np.sqrt(DAY) * np.repeat(rng.standard_normal((particles, 4, 1)), 2, axis=1)[:, :7]
    return condition(
        Kinship(squared_distance(coded, coded), SAME_DAY), squared_distance(new, coded),
        np.full((particles, 1), 0.8), length, np.full((particles, 1), DAY), var, residual,
        paths.at(coded, length), paths.at(new, length), noise,
    )


def test_mean_and_deviation_match_scikit_learn(case: dict[str, np.ndarray]) -> None:
    kernel = ConstantKernel(0.64, "fixed") * RBF([0.5, 0.5, 1e6], "fixed") + ConstantKernel(
        DAY, "fixed") * RBF([1e6, 1e6, 1e-6], "fixed")  # the last column is the day
    reference = GaussianProcessRegressor(kernel, alpha=case["noise"] ** 2, optimizer=None)
    day = np.arange(7) // 2
    reference.fit(np.column_stack([case["coded"], day]), case["r"])
    new = np.column_stack([case["new"], np.full(5, 99.0)])
    mean, sd = reference.predict(new, return_std=True)
    sd = np.sqrt(sd**2 - DAY)  # the truth has no day
    ours_mean, ours_sd, _ = _condition(case, 1, np.random.default_rng(1))
    assert ours_mean[0, :, 0] == pytest.approx(mean, abs=1e-7)
    assert ours_sd[0, :, 0] == pytest.approx(sd, abs=1e-6)


def test_joint_draws_have_that_mean_and_deviation(case: dict[str, np.ndarray]) -> None:
    mean, sd, sample = _condition(case, 4000, np.random.default_rng(4))
    drawn = sample[:, :, 0]
    # 4000 draws on one set of 400 random features: a few percent of the deviation
    assert drawn.mean(axis=0) == pytest.approx(mean[0, :, 0], abs=0.06)
    assert drawn.std(axis=0) == pytest.approx(sd[0, :, 0], rel=0.15, abs=0.01)


def test_evidence_matches_the_density_of_a_multivariate_normal(
    case: dict[str, np.ndarray],
) -> None:
    d2 = squared_distance(case["coded"], case["coded"])
    covariance = 0.64 * np.exp(-0.5 * d2 / 0.25) + np.diag(case["noise"] ** 2) + DAY * SAME_DAY
    density = multivariate_normal(np.zeros(7), covariance).logpdf(case["r"])
    ours = gaussian_evidence(
        Kinship(d2, SAME_DAY), np.array([0.8]), np.array([0.5]), np.array([DAY]),
        (case["noise"] ** 2)[None], case["r"][None],
    )
    assert ours[0] - 3.5 * np.log(2 * np.pi) == pytest.approx(density, abs=1e-8)


def test_missing_readings_change_nothing(case: dict[str, np.ndarray]) -> None:
    d2 = squared_distance(case["coded"], case["coded"])
    var = (case["noise"] ** 2)[None].copy()
    var[0, 3] = np.inf
    keep = np.arange(7) != 3
    scales = (np.array([0.8]), np.array([0.5]), np.array([DAY]))
    full = gaussian_evidence(Kinship(d2, SAME_DAY), *scales, var, case["r"][None])
    rest = np.ix_(keep, keep)
    less = gaussian_evidence(
        Kinship(d2[rest], SAME_DAY[rest]), *scales, var[:, keep], case["r"][None][:, keep],
    )
    assert full == pytest.approx(less)
