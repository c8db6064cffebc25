"""Tests of differences against published examples and other implementations."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ttest_1samp, ttest_ind
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import ttost_paired

from models.equivalence import paired
from models.errors import OutOfRange
from models.horwitz import horrat, predicted_repeatability_rsd, predicted_rsd
from models.significance import difference, holm, lower_limit, many_to_one, straight_line, welch

DATA = Path(__file__).parents[1] / "data" / "statistics"


def norris() -> tuple[np.ndarray, np.ndarray]:
    lines = (DATA / "Norris.dat").read_text().splitlines()
    start = next(i for i, line in enumerate(lines) if line.split() == ["Data:", "y", "x"])
    pairs = np.array([line.split() for line in lines[start + 1 :] if line.strip()], dtype=float)
    return pairs[:, 1], pairs[:, 0]


def test_certified_straight_line():
    """NIST StRD Norris (grade A)."""
    line = straight_line(*norris())
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert line.intercept_error == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.slope_error == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-10)


def test_dunnett_example():
    """Dunnett 1955 blood counts, as in SciPy's documentation (grade C)."""
    control = np.array([7.40, 8.50, 7.20, 8.24, 9.84, 8.32])
    a = np.array([9.76, 8.80, 7.68, 9.36])
    b = np.array([12.80, 9.68, 12.16, 9.20, 10.55])
    first, second = many_to_one([a, b], control)
    assert first.p_value == pytest.approx(0.620, abs=0.001)
    assert second.p_value == pytest.approx(0.0059, abs=0.001)
    assert (first.statistic, second.statistic) == pytest.approx((0.857, 3.694), abs=0.001)
    assert second.low > 0.0 > first.low


def test_dunnett_repeats():
    rng = np.random.default_rng(1)
    groups = [rng.normal(size=4) for _ in range(4)]
    assert many_to_one(groups[1:], groups[0]) == many_to_one(groups[1:], groups[0])


def test_welch_agrees_with_scipy():
    rng = np.random.default_rng(8)
    a, b = rng.normal(90, 2, 6), rng.normal(94, 6, 9)
    found, oracle = welch(a, b), ttest_ind(b, a, equal_var=False)
    interval = oracle.confidence_interval(0.95)
    assert found.p_value == pytest.approx(oracle.pvalue, rel=1e-10)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-10)


def test_lower_limit_agrees_with_scipy():
    x = np.array([91.2, 88.7, 95.0, 90.1, 93.3, 87.9])
    low = ttest_1samp(x, 0.0, alternative="greater").confidence_interval(0.95).low
    assert lower_limit(x).lower == pytest.approx(low, rel=1e-12)


def test_holm_agrees_with_statsmodels():
    p = [0.004, 0.9, 0.03, 0.03, 0.2, 0.0001]
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1], rel=1e-12)
    assert holm([]) == []


def test_equivalence_agrees_with_statsmodels():
    rng = np.random.default_rng(6)
    day = rng.normal(0, 5, 7)
    a, b = 90 + day + rng.normal(0, 1, 7), 91 + day + rng.normal(0, 1, 7)
    p_value = ttost_paired(b, a, -4.0, 4.0)[0]
    found = paired(a, b, margin=4.0)
    assert found.p_value == pytest.approx(p_value, rel=1e-9)
    assert found.equivalent == (p_value < 0.05)


def test_a_difference_at_the_margin_is_called_equivalent_at_most_as_often_as_said():
    rng = np.random.default_rng(12)
    called = 0
    for _ in range(4000):
        a = rng.normal(90, 4, 6)
        called += paired(a, a + 5.0 + rng.normal(0, 2, 6), margin=5.0).equivalent
    assert called / 4000 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 4000)


@pytest.mark.parametrize(
    ("fraction", "percent"),
    [(1.0, 2.0), (0.01, 3.99), (1e-4, 7.96), (1e-6, 15.89), (1e-8, 31.70), (1e-9, 44.77)],
)
def test_horwitz(fraction, percent):
    """AOAC Appendix F annex D table D1 (grade A)."""
    assert predicted_rsd(fraction) == pytest.approx(percent, abs=0.006)
    assert predicted_repeatability_rsd(fraction) == pytest.approx(0.66 * percent, abs=0.004)
    assert horrat(predicted_rsd(fraction), fraction, repeatability=False) == pytest.approx(1.0)


def test_known_scatter_gives_the_normal_interval():
    found = difference(3.0, 1.0, np.inf)
    assert (found.low, found.high) == pytest.approx((3.0 - 1.959964, 3.0 + 1.959964), abs=1e-6)


@pytest.mark.parametrize(
    "call",
    [lambda: welch(np.array([1.0]), np.array([1.0, 2.0])),
     lambda: welch(np.ones(3), np.ones(3)),
     lambda: lower_limit(np.array([np.nan, 1.0])),
     lambda: paired(np.ones(3), np.ones(2), 1.0),
     lambda: paired(np.ones(3), np.ones(3), 0.0),
     lambda: straight_line(np.ones(4), np.arange(4.0)),
     lambda: predicted_rsd(0.0)],
)
def test_what_cannot_be_answered_is_refused(call):
    with pytest.raises(OutOfRange):
        call()
