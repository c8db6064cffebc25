"""The discrepancy against scikit-learn's Gaussian process and against its own draws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel

from models.discrepancy import PriorPaths, condition, gaussian_evidence, squared_distance


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
    paths = PriorPaths(particles, 1, 2, rng, features=400)
    var = np.tile((case["noise"] ** 2)[None, :, None], (particles, 1, 1))
    residual = np.tile(case["r"][None, :, None], (particles, 1, 1))
    return condition(
        squared_distance(coded, coded), squared_distance(new, coded),
        np.full((particles, 1), 0.8), length, var, residual,
        paths.at(coded, length), paths.at(new, length), rng.standard_normal(residual.shape),
    )


def test_mean_and_deviation_match_scikit_learn(case: dict[str, np.ndarray]) -> None:
    kernel = ConstantKernel(0.64, "fixed") * RBF(0.5, "fixed")
    reference = GaussianProcessRegressor(kernel, alpha=case["noise"] ** 2, optimizer=None)
    reference.fit(case["coded"], case["r"])
    mean, sd = reference.predict(case["new"], return_std=True)
    ours_mean, ours_sd, _ = _condition(case, 1, np.random.default_rng(1))
    assert ours_mean[0, :, 0] == pytest.approx(mean, abs=1e-8)
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
    covariance = 0.64 * np.exp(-0.5 * d2 / 0.25) + np.diag(case["noise"] ** 2)
    density = multivariate_normal(np.zeros(7), covariance).logpdf(case["r"])
    ours = gaussian_evidence(
        d2, np.array([0.8]), np.array([0.5]), (case["noise"] ** 2)[None], case["r"][None]
    )
    assert ours[0] - 3.5 * np.log(2 * np.pi) == pytest.approx(density, abs=1e-8)


def test_missing_readings_change_nothing(case: dict[str, np.ndarray]) -> None:
    d2 = squared_distance(case["coded"], case["coded"])
    var = (case["noise"] ** 2)[None].copy()
    var[0, 3] = np.inf
    keep = np.arange(7) != 3
    full = gaussian_evidence(d2, np.array([0.8]), np.array([0.5]), var, case["r"][None])
    less = gaussian_evidence(
        d2[np.ix_(keep, keep)], np.array([0.8]), np.array([0.5]), var[:, keep],
        case["r"][None][:, keep],
    )
    assert full == pytest.approx(less)
