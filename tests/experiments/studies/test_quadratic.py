"""Published response-surface examples; data recalled, figures as named beside each."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.studies.quadratic import Quadratic

# MBT yield (Frankel 1961, in Myers 1976; example of a public statistics manual). Mean, root
# MSE and R2 are grade A, the rest was recomputed (grade C).
MBT = np.array([
    (4.0, 250, 83.8), (20.0, 250, 81.7), (12.0, 250, 82.4), (12.0, 250, 82.9),
    (12.0, 220, 84.7), (12.0, 280, 57.9), (12.0, 250, 81.2), (6.3, 229, 81.3),
    (6.3, 271, 83.1), (17.7, 229, 85.3), (17.7, 271, 72.7), (4.0, 250, 82.0),
])
# Odour of a product (John 1971; Schneider & Stockett 1963; same manual).
ODOUR = np.array([
    (40, 0.3, 4, 66), (120, 0.3, 4, 39), (40, 0.7, 4, 43), (120, 0.7, 4, 49), (40, 0.5, 2, 58),
    (120, 0.5, 2, 17), (40, 0.5, 6, -5), (120, 0.5, 6, -40), (80, 0.3, 2, 65), (80, 0.7, 2, 7),
    (80, 0.3, 6, 43), (80, 0.7, 6, -22), (80, 0.5, 4, -31), (80, 0.5, 4, -35), (80, 0.5, 4, -26),
])
# Chemical process in two blocks (Myers et al. table 7.6, in Lenth 2009; from memory).
REACTION = np.array([
    (80, 170, 0, 80.5), (80, 180, 0, 81.5), (90, 170, 0, 82.0), (90, 180, 0, 83.5),
    (85, 175, 0, 83.9), (85, 175, 0, 84.3), (85, 175, 0, 84.0), (85, 175, 1, 79.7),
    (85, 175, 1, 79.8), (85, 175, 1, 79.5), (92.07, 175, 1, 78.4), (77.93, 175, 1, 75.6),
    (85, 182.07, 1, 78.5), (85, 167.93, 1, 77.0),
])


def test_a_saddle_is_told_from_an_optimum() -> None:
    y = MBT[:, 2]
    centre, half = np.array([12.0, 250.0]), np.array([8.0, 30.0])
    fit = Quadratic.fit((MBT[:, :2] - centre) / half, y)
    assert y.mean() == pytest.approx(79.916667, abs=1e-6)
    assert fit.error == pytest.approx(4.615964, abs=1e-5)
    assert fit.r_squared == pytest.approx(0.8003, abs=1e-4)
    found = fit.stationary()
    np.testing.assert_allclose(centre + half * found.point, [8.4659, 240.70], atol=5e-3)
    assert found.value == pytest.approx(83.741940, abs=1e-4)
    np.testing.assert_allclose(found.eigenvalues, [2.528816, -9.996940], atol=1e-4)
    assert found.nature == "saddle"


def test_a_minimum_outside_the_tested_box_is_seen_as_such() -> None:
    y = ODOUR[:, 3]
    centre, half = np.array([80.0, 0.5, 4.0]), np.array([40.0, 0.2, 2.0])
    fit = Quadratic.fit((ODOUR[:, :3] - centre) / half, y)
    assert y.mean() == pytest.approx(15.2)
    assert fit.r_squared == pytest.approx(0.8820, abs=1e-4)
    assert fit.error == pytest.approx(22.4785, abs=1e-3)
    found = fit.stationary()
    np.testing.assert_allclose(
        centre + half * found.point, [84.876502, 0.539915, 7.541050], atol=1e-4)
    assert found.value == pytest.approx(-52.024631, abs=1e-4)
    np.testing.assert_allclose(
        found.eigenvalues, [48.858807, 31.103461, 6.037732], atol=1e-4)
    assert found.nature == "minimum"
    assert np.abs(found.point).max() > 1.0  # extrapolates


def test_blocks_shift_the_level_and_not_the_optimum() -> None:
    centre, half = np.array([85.0, 175.0]), np.array([5.0, 5.0])
    fit = Quadratic.fit((REACTION[:, :2] - centre) / half, REACTION[:, 3], REACTION[:, 2:3])
    assert fit.coefficients[-1] == pytest.approx(-4.4575, abs=1e-3)
    found = fit.stationary()
    np.testing.assert_allclose(found.point, [0.3722954, 0.3343802], atol=1e-5)
    np.testing.assert_allclose(centre + half * found.point, [86.8615, 176.6719], atol=1e-3)
    np.testing.assert_allclose(found.eigenvalues, [-0.9233027, -1.3186949], atol=1e-5)
    assert found.nature == "maximum"


def test_prediction_has_the_standard_error_of_least_squares() -> None:
    rng = np.random.default_rng(0)
    x = rng.uniform(-1, 1, (40, 2))
    y = 1.0 + x[:, 0] - 2.0 * x[:, 1] ** 2
    fit = Quadratic.fit(x, y)
    mean, leverage = fit.predict(x)
    np.testing.assert_allclose(mean, y, atol=1e-9)
    # the leverages of the fitted points sum to the number of terms
    assert (leverage**2).sum() == pytest.approx(6.0)
