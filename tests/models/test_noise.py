"""Scatter of bench results and the scale on which it is the same everywhere."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from models.noise import (
    expected_reading,
    expected_reading_one,
    from_stabilised,
    run_sd,
    stabilised,
)


@pytest.mark.parametrize("level", [0.1, 0.45, 0.7, 0.78, 0.85, 0.97, 1.1])
def test_the_scale_is_the_integral_of_one_over_the_scatter(level: float) -> None:
    known, _ = quad(lambda r: 1.0 / float(run_sd(r)), 0.0, level, points=[0.0571, 0.7, 0.85],
                    limit=400)
    assert float(stabilised(np.array(level))) == pytest.approx(known, rel=1e-3)


def test_back_and_forth() -> None:
    level = np.linspace(0.0, 1.4, 200)
    assert from_stabilised(stabilised(level)) == pytest.approx(level, abs=1e-12)
    assert np.isnan(stabilised(np.array([np.nan, 0.5]))[0])


@pytest.mark.parametrize(("level", "within"), [(0.5, 0.05), (0.78, 0.20), (0.93, 0.05)])
def test_readings_scatter_by_one_unit(level: float, within: float) -> None:
    """Exactly where the relative scatter is constant, roughly where it changes (70-85 %)."""
    rng = np.random.default_rng(4)
    readings = level + float(run_sd(np.array(level))) * rng.standard_normal(20_000)
    assert stabilised(readings).std() == pytest.approx(1.0, rel=within)


@pytest.mark.parametrize(("level", "low", "high"),
                         [(0.45, 0.10, 0.25), (0.65, 0.10, 0.25), (0.9, 0.04, 0.08),
                          (1.0, 0.04, 0.08)])
def test_scatter_lies_in_the_usual_range(level: float, low: float, high: float) -> None:
    """Common practice, no source."""
    assert low <= float(run_sd(np.array(level))) / level <= high


@pytest.mark.parametrize("level", [0.3, 0.69, 0.75, 0.8, 0.86, 0.95])
def test_expected_reading_is_the_mean_of_many_readings(level: float) -> None:
    """Lognormal readings whose mean is the level, drawn in plenty."""
    rng = np.random.default_rng(6)
    spread = float(np.sqrt(np.log1p((run_sd(np.array(level)) / level) ** 2)))
    readings = level * np.exp(spread * rng.standard_normal(400_000) - 0.5 * spread**2)
    known = float(stabilised(readings).mean())
    at = np.array(level)
    assert float(expected_reading(at)) == pytest.approx(known, abs=0.01)  # five standard errors
    assert expected_reading_one(level) == pytest.approx(float(expected_reading(at)), rel=1e-12)
