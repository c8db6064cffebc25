"""What is believed of the discrepancies before any run."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm, spearmanr

from models.scales import COUNT, LOG_SD, MEDIAN, RECOVERY, TIME, Scales, discrepancy_quantiles


@pytest.fixture(scope="module")
def scales() -> Scales:
    return Scales.of(np.random.default_rng(3).standard_normal((200_000, COUNT)))


def test_up_to_one_deviation_above_the_median_they_are_lognormal(scales: Scales) -> None:
    for i, values in ((RECOVERY, scales.recovery_discrepancy), (TIME, scales.time_discrepancy)):
        for share in (0.05, 0.25, 0.5, 0.8):
            usual = MEDIAN[i] * np.exp(LOG_SD[i] * norm.ppf(share))
            assert np.quantile(values, share) == pytest.approx(usual, rel=0.02)


@pytest.mark.parametrize("share", [0.5, 0.9, 0.99])
def test_quantiles_are_those_of_what_is_drawn(scales: Scales, share: float) -> None:
    for values, said in zip((scales.recovery_discrepancy, scales.time_discrepancy),
                            discrepancy_quantiles(share), strict=True):
        assert np.quantile(values, share) == pytest.approx(said, rel=0.06)


def test_one_in_fifty_leaves_room_for_physics_that_is_wrong_altogether(scales: Scales) -> None:
    """At the 98 % point a run model is wrong by two run effects and by half of the run time."""
    assert np.quantile(scales.recovery_discrepancy, 0.98) > 2.0
    assert np.quantile(scales.time_discrepancy, 0.98) > 0.5


def test_a_model_wrong_about_times_is_likely_wrong_about_recoveries(scales: Scales) -> None:
    found = spearmanr(scales.recovery_discrepancy, scales.time_discrepancy).statistic
    assert found == pytest.approx(6.0 / np.pi * np.arcsin(0.8 / 2.0), abs=0.01)  # of a Gaussian
    far = scales.time_discrepancy > discrepancy_quantiles(0.95)[1]
    assert np.median(scales.recovery_discrepancy[far]) > 2.5 * MEDIAN[RECOVERY]


def test_the_other_scales_are_left_alone() -> None:
    z = np.linspace(-3.0, 3.0, 7)[:, None] * np.ones(COUNT)
    assert Scales.of(z).length == pytest.approx(0.4 * np.exp(0.4 * z[:, 2]))
    assert z[6, 0] == 3.0, "the values given stay as they are"


def test_in_three_jobs_of_five_nothing_is_lost_of_all_analytes_alike(scales: Scales) -> None:
    assert np.mean(scales.kept == 1.0) == pytest.approx(0.6, abs=0.005)
    assert np.quantile(scales.kept, 0.1) == pytest.approx(0.93, abs=0.01)
    assert 0.6 < scales.kept.min() < 0.8, "a fifth and more may be lost on the way"


def test_half_of_the_run_effect_is_common_within_wide_limits(scales: Scales) -> None:
    low, middle, high = np.quantile(scales.common, [0.025, 0.5, 0.975])
    assert middle == pytest.approx(0.5, abs=0.01)
    assert (low, high) == pytest.approx((0.087, 0.913), abs=0.01)
    assert scales.own_variance + scales.shared_sd**2 == pytest.approx(scales.recovery_noise**2)
