"""Three classes that stand for all vessels keep their mean and variance and show the slowest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.kernel_batch import relative_transfer
from models.vessel_classes import vessel_classes


@given(st.integers(1, 200))
def test_classes_have_the_mean_and_variance_of_all_positions(vessels):
    share, place = vessel_classes(vessels)
    assert share.sum() == pytest.approx(1.0)
    assert share @ place == pytest.approx(0.0, abs=1e-12)
    assert share @ place**2 == pytest.approx(1.0)
    assert np.all(np.diff(place) > 0.0)


@pytest.mark.parametrize(("vessels", "largest"), [
    (4, 1.02938), (6, 1.26721), (8, 1.42360), (12, 1.62923), (20, 1.86748),
])
def test_the_slowest_vessel_is_where_tables_expect_it(vessels, largest):
    """Harter, Biometrika 48 (1961) 151: expected largest of n normal values (from memory);
    Blom's approximation is within 0.02 of it."""
    share, place = vessel_classes(vessels)
    assert share[0] == pytest.approx(1.0 / vessels)
    assert -place[0] == pytest.approx(largest, abs=0.02)


def test_few_vessels_are_three_equal_classes():
    share, place = vessel_classes(2)
    assert share == pytest.approx(1.0 / 3.0)
    assert place[1] == 0.0


@given(st.floats(0.0, 0.5))
def test_as_many_times_faster_as_slower(place):
    assert relative_transfer(place) * relative_transfer(-place) == pytest.approx(1.0)
