"""The limit that the noise sets."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.studies import oracle
from experiments.studies.physical import physical_bench


def test_the_figures_in_words() -> None:
    limit = oracle.Limit(9.0, np.array([0.1, 0.3, np.nan, 0.2]))
    assert limit.sentence == (
        "With the error of 9 runs at every setting: claims on 75% of 4 benches, median excess "
        "20%, within 25% of the fastest on 50%."
    )
    assert "median excess -" in oracle.Limit(9.0, np.array([np.nan])).sentence


@pytest.mark.slow
def test_less_is_known_with_fewer_runs() -> None:
    """And no claim is faster than the fastest feasible setting, as far as a grid can tell."""
    nine, fewer = oracle.excess_of_oracle(24)
    assert physical_bench(24).kind == "medium"
    assert -0.02 < nine <= fewer
