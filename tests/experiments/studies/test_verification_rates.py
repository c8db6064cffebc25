"""Verification errs as seldom as it says: a short round of the study, with a fixed seed."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.studies.verification_rates import BAD, GOOD, Rate, rate

SETS = 300
SCENES = {scene.name: scene for scene in (*BAD, *GOOD)}


def error(share: float) -> float:
    """Three standard errors of a share of the sets."""
    return 3.0 * float(np.sqrt(share * (1.0 - share) / SETS))


@pytest.mark.slow
@pytest.mark.parametrize(("name", "runs", "days"), [
    ("one analyte just below", 6, 3),
    ("one just below, hardly any scatter", 6, 6),
    ("one just below, a vessel lags by 20 %", 12, 4),
])
def test_a_bad_method_passes_at_most_once_in_twenty(name, runs, days):
    found = rate(SCENES[name], runs, days, SETS)
    assert found.scene.is_bad
    assert found.passed / SETS <= 0.05 + error(0.05)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "runs", "days"), [
    ("8 points above", 12, 4), ("12 points above", 6, 6), ("18 points above", 6, 3),
])
def test_a_good_method_fails_no_more_often_than_planned(name, runs, days):
    """Nor much less often, or the plan would ask for runs that nobody needs."""
    found = rate(SCENES[name], runs, days, SETS)
    assert not found.scene.is_bad
    assert found.passed / SETS == pytest.approx(found.planned, abs=error(found.planned) + 0.02)


def test_the_figures_in_words():
    """Exact limits of 5 in 100: 1.64 % and 11.28 % (Clopper & Pearson 1934; the beta
    quantiles of any table)."""
    assert Rate(BAD[0], 6, 3, 5, 100, 0.0).sentence == (
        " 6 runs on  3 days: one analyte just below passes 5.0% (1.6% to 11.3%) of 100")
    assert Rate(GOOD[0], 12, 4, 95, 100, 0.93).sentence == (
        "12 runs on  4 days: 5 points above is rejected 5.0% (1.6% to 11.3%) of 100; planned 7.0%")
