"""Tolerance factors against published tables and against simulated samples."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from models.errors import OutOfRange
from models.tolerance import (
    approximate_one_sided_factor,
    howe_factor,
    nested_factors,
    nested_lower_limit,
    one_sided_factor,
    two_sided_factor,
)
from models.variance import NestedVariance, nested

DATA = Path(__file__).parents[1] / "data" / "statistics"
ROWS = list(csv.DictReader((DATA / "tolerance_factors.csv").read_text("utf-8").splitlines()))
HALF_A_DIGIT = 0.51e-4  # the table prints four decimals


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['confidence']}-{r['coverage']}-{r['n']}")
def test_factors_agree_with_the_table(row):
    """Exact tables of ISO 16269-6 and Howe 1969 (grade C, reproduced independently)."""
    n, p, gamma = int(row["n"]), float(row["coverage"]), float(row["confidence"])
    assert one_sided_factor(n, p, gamma) == pytest.approx(
        float(row["k1_one_sided_exact"]), abs=HALF_A_DIGIT)
    assert howe_factor(n, p, gamma) == pytest.approx(
        float(row["k2_two_sided_Howe"]), abs=HALF_A_DIGIT)
    assert two_sided_factor(n, p, gamma) == pytest.approx(
        float(row["k2_two_sided_exact"]), abs=HALF_A_DIGIT)


def test_the_table_is_the_published_one():
    assert len(ROWS) == 90


def test_worked_example_of_the_nist_handbook():
    """NIST/SEMATECH e-Handbook 7.2.6.3 (grade B): which formula gives which factor."""
    mean, sd = 97.07, 0.0268
    howe = howe_factor(43, 0.90, 0.99)
    assert howe == pytest.approx(2.2173, abs=1e-4)
    assert mean - howe * sd == pytest.approx(97.0106, abs=1e-4)
    assert mean + howe * sd == pytest.approx(97.1294, abs=1e-4)
    assert approximate_one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8752, abs=1e-4)
    assert mean + 1.8752 * sd == pytest.approx(97.1203, abs=1e-4)
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.2228, abs=1e-4)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=1e-4)


@pytest.mark.parametrize(("n", "quoted"), [(10, 3.379), (30, 2.549), (100, 2.233)])
def test_howe_factors_of_the_classical_tables(n, quoted):
    """Howe 1969, 95 % / 95 % (grade B); the old tables round on the way, hence 0.005."""
    assert howe_factor(n, 0.95, 0.95) == pytest.approx(quoted, abs=0.005)


@pytest.mark.parametrize(
    ("n", "k"), [(5, 4.2027), (6, 3.7077), (10, 2.9110), (20, 2.3960), (50, 2.0650)]
)
def test_one_sided_factors_95_95(n, k):
    """Non-central t, as tabulated in ISO 16269-6 (grade C)."""
    assert one_sided_factor(n, 0.95, 0.95) == pytest.approx(k, abs=1e-3)


def test_a_two_sided_interval_keeps_its_promise():
    """40 000 samples of six: the interval holds 90 % of the population 95 times in 100."""
    from scipy.stats import norm

    rng = np.random.default_rng(3)
    x = rng.standard_normal((40_000, 6))
    reach = two_sided_factor(6, 0.90, 0.95) * x.std(axis=1, ddof=1)
    held = norm.cdf(x.mean(axis=1) + reach) - norm.cdf(x.mean(axis=1) - reach)
    assert np.mean(held >= 0.90) == pytest.approx(0.95, abs=0.0045)  # four standard errors


@pytest.mark.parametrize("between", [0.0, 0.5, 2.0, 8.0])
def test_limits_for_vessels_of_a_run_hold_at_least_as_often_as_said(between):
    """Six runs of eight vessels whose run effect is none, small, equal or dominant."""
    from scipy.stats import norm

    rng = np.random.default_rng(5)
    trials, runs, vessels = 1500, 6, 8
    held = 0
    for _ in range(trials):
        effect = np.sqrt(between) * rng.standard_normal((runs, 1))
        values = effect + rng.standard_normal((runs, vessels))
        limit = nested_lower_limit(nested(list(values)), 0.90, 0.95).limit
        held += norm.sf(limit, scale=np.sqrt(between + 1.0)) >= 0.90
    assert held / trials >= 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / trials)


def test_many_limits_at_once_are_the_single_ones():
    rng = np.random.default_rng(7)
    observed = rng.uniform(0.1, 40.0, 200)
    together = nested_factors(observed, 6, 8.0, 42, 0.9, 0.95)
    for ratio, factor in list(zip(observed, together, strict=True))[:20]:
        variance = NestedVariance(90.0, 6, 8.0, ratio, 1.0, 42, 0.0)
        assert factor == pytest.approx(nested_lower_limit(variance, 0.9, 0.95).factor, abs=2e-3)


def test_one_vessel_a_run_is_the_plain_limit():
    values = [np.array([v]) for v in (91.0, 94.0, 88.0, 93.0, 90.0)]
    limit = nested_lower_limit(nested(values), 0.95, 0.95)
    plain = np.array([v[0] for v in values])
    assert limit.limit == pytest.approx(plain.mean() - 4.2027 * plain.std(ddof=1), abs=1e-3)


@pytest.mark.parametrize(("n", "p", "gamma"), [(1, 0.9, 0.9), (6, 1.0, 0.9), (6, 0.9, 0.0)])
def test_questions_without_an_answer_are_refused(n, p, gamma):
    for factor in (one_sided_factor, two_sided_factor, howe_factor):
        with pytest.raises(OutOfRange):
            factor(n, p, gamma)
