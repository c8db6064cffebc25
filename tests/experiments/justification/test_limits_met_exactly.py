"""A figure that equals its limit meets it, whatever the decimals round to in binary."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments.acceptance import AnalyteCriteria, default_criteria
from experiments.verification_rules import RunSummaries, assess


@pytest.mark.parametrize("side", ["low", "high"])
def test_readings_equal_to_a_limit_meet_it(job, side):
    rules = default_criteria(job)
    for tenths in range(500, 1200):
        limit = tenths / 10
        low, high = (limit, limit + 5) if side == "low" else (limit - 5, limit)
        row = AnalyteCriteria("carvone", low, low, high, 10.0)
        means = np.full((1, 3, 1), np.mean([limit] * 4))
        summaries = RunSummaries(means, np.zeros((1, 1)), np.full(1, 4.0), np.full(1, 9.0),
                                 np.arange(3))
        held = assess(summaries, replace(rules, analytes=(row,))).holds
        assert held["mean in band"].all(), limit
        assert held["confidence limit"].all(), limit


def test_what_misses_a_limit_visibly_does_not_meet_it(job):
    row = AnalyteCriteria("carvone", 85.0, 85.0, 90.0, 10.0)
    means = np.full((1, 3, 1), 85.0 - 1e-6)
    summaries = RunSummaries(means, np.zeros((1, 1)), np.full(1, 4.0), np.full(1, 9.0),
                             np.arange(3))
    held = assess(summaries, replace(default_criteria(job), analytes=(row,))).holds
    assert not held["mean in band"].any()
    assert not held["confidence limit"].any()
