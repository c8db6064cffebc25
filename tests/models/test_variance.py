"""Analysis of variance against certified values, and components against other routes."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from models.errors import OutOfRange
from models.variance import nested, one_way, position_effect

DATA = Path(__file__).parents[1] / "data" / "statistics"
TABLE = (DATA / "nist_strd_anova.csv").read_text("utf-8").splitlines()
CERTIFIED = {r["dataset"]: r for r in csv.DictReader(TABLE)}
REPLICATES = {"SmLs01": 21, "SmLs02": 201, "SmLs03": 2001, "SmLs04": 21, "SmLs05": 201,
              "SmLs06": 2001, "SmLs07": 21, "SmLs08": 201, "SmLs09": 2001}
ORIGIN = {**dict.fromkeys(("SmLs01", "SmLs02", "SmLs03"), 1.0),
          **dict.fromkeys(("SmLs04", "SmLs05", "SmLs06"), 1e6),
          **dict.fromkeys(("SmLs07", "SmLs08", "SmLs09"), 1e12)}


def read_set(name: str) -> list[np.ndarray]:
    lines = (DATA / f"{name}.dat").read_text().splitlines()[60:]
    pairs = [line.split() for line in lines if len(line.split()) == 2]
    labels = list(dict.fromkeys(p[0] for p in pairs))
    return [np.array([float(v) for g, v in pairs if g == label]) for label in labels]


def build_set(name: str) -> list[np.ndarray]:
    """Simon & Lesage: nine treatments, each its middle value and pairs 0.1 either side."""
    middles = [float(g[0]) - ORIGIN["SmLs01"] for g in read_set("SmLs01")]
    pairs = (REPLICATES[name] - 1) // 2
    return [
        ORIGIN[name] + np.round(np.array([m, *[m - 0.1, m + 0.1] * pairs]), 1) for m in middles
    ]


@pytest.mark.parametrize("name", ["SmLs01", "SmLs04", "SmLs07"])
def test_the_built_sets_are_the_published_ones(name):
    for built, published in zip(build_set(name), read_set(name), strict=True):
        np.testing.assert_allclose(built, published, rtol=0, atol=2e-4 if "7" in name else 1e-9)


@pytest.mark.parametrize(
    ("name", "digits"),
    [("SiRstv", 1e-10), ("SmLs01", 1e-10), ("SmLs02", 1e-10), ("SmLs03", 1e-10),
     ("AtmWtAg", 1e-8), ("SmLs04", 1e-8), ("SmLs05", 1e-8), ("SmLs06", 1e-8),
     ("SmLs07", 2e-4), ("SmLs08", 2e-4), ("SmLs09", 2e-4)],
)
def test_certified_analysis_of_variance(name, digits):
    """NIST StRD (grade A).

    The last three lie at 1e12, where a double steps by 1.2e-4, a thousandth of the 0.1 that
    the values scatter by: about four digits are left.
    """
    groups = build_set(name) if name.startswith("SmLs") else read_set(name)
    row, table = CERTIFIED[name], one_way(groups)
    assert table.f_ratio == pytest.approx(float(row["F_cert"]), rel=digits)
    assert table.between_degrees_of_freedom == int(row["df_b"])
    assert table.within_degrees_of_freedom == int(row["df_w"])
    assert table.between_sum_of_squares == pytest.approx(float(row["SS_between"]), rel=digits)
    assert table.within_sum_of_squares == pytest.approx(float(row["SS_within"]), rel=digits)


def test_certified_r_squared():
    """NIST StRD SiRstv (grade A)."""
    assert one_way(read_set("SiRstv")).r_squared == pytest.approx(0.190999039051129, rel=1e-10)


@given(
    st.lists(st.lists(st.floats(50, 120), min_size=2, max_size=8), min_size=2, max_size=5),
    st.floats(-500, 500),
)
def test_a_common_offset_changes_nothing(groups, offset):
    plain = one_way([np.array(g) for g in groups])
    moved = one_way([np.array(g) + offset for g in groups])
    assert moved.within_sum_of_squares == pytest.approx(
        plain.within_sum_of_squares, rel=1e-9, abs=1e-8)
    assert moved.between_sum_of_squares == pytest.approx(
        plain.between_sum_of_squares, rel=1e-9, abs=1e-8)


def test_components_of_balanced_runs_add_up():
    """Worked by hand: run means 90, 94, 98; vessels -1, +1 about them."""
    parts = nested([np.array([m - 1.0, m + 1.0]) for m in (90.0, 94.0, 98.0)])
    assert parts.mean == pytest.approx(94.0)
    assert parts.within_mean_square == pytest.approx(2.0)
    assert parts.between_mean_square == pytest.approx(2 * 16.0)
    assert parts.between_variance == pytest.approx(16.0 - 1.0)


def test_components_are_found_again():
    rng = np.random.default_rng(2)
    found = [
        nested(list(80 + 4 * rng.standard_normal((8, 1)) + 2 * rng.standard_normal((8, 6))))
        for _ in range(800)
    ]
    between = np.mean([p.between_variance for p in found])
    within = np.mean([p.within_mean_square for p in found])
    assert between == pytest.approx(16.0, rel=0.06)
    assert within == pytest.approx(4.0, rel=0.02)


def test_position_effect_agrees_with_least_squares_of_statsmodels():
    """Independent route: analysis of variance of nested linear models, gaps included."""
    rng = np.random.default_rng(9)
    values = 90 + 3 * rng.standard_normal((5, 1)) + rng.standard_normal((5, 6))
    values[:, 2] -= 2.5
    values[0, 1] = values[3, 4] = np.nan
    run, place = np.nonzero(np.isfinite(values))
    y = values[run, place]
    blocks = np.eye(5)[run]
    reduced = sm.OLS(y, blocks).fit()
    full = sm.OLS(y, np.hstack([blocks, np.eye(6)[place][:, 1:]])).fit()
    ratio, p_value, _ = full.compare_f_test(reduced)
    effect = position_effect(values)
    assert effect.f_ratio == pytest.approx(ratio, rel=1e-9)
    assert effect.p_value == pytest.approx(p_value, rel=1e-9)
    assert effect.means[3] == min(effect.means.values())
    assert sum(effect.means.values()) == pytest.approx(0.0, abs=1e-9)


def test_a_position_effect_is_claimed_as_often_as_said():
    rng = np.random.default_rng(4)
    p = [position_effect(5 * rng.standard_normal((4, 1)) + rng.standard_normal((4, 8))).p_value
         for _ in range(2000)]
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=0.015)  # three standard errors


@pytest.mark.parametrize("groups", [[[1.0, 2.0]], [[1.0], [2.0]], [[1.0, math.nan], [2.0, 3.0]]])
def test_what_cannot_be_compared_is_refused(groups):
    with pytest.raises(OutOfRange):
        one_way([np.array(g) for g in groups])


def test_unlinked_positions_are_refused():
    values = np.array([[90.0, 91.0, np.nan, np.nan], [np.nan, np.nan, 88.0, 89.0]])
    with pytest.raises(OutOfRange, match="never measured in the same run"):
        position_effect(values)


def test_vessels_alike_to_the_last_digit_have_no_position_effect():
    values = np.full((6, 6), 88.9)
    values[::2] += 1.3
    assert math.isnan(position_effect(values).p_value)
