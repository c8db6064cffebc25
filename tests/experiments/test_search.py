"""The search of the window for a setting that qualifies."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments import Dossier
from experiments.fitted import Fitted, fit
from experiments.recommendation import search

BROAD, NARROW = np.array([0.3, 0.5, 0.7]), np.array([0.85, 0.15, 0.2])
RADIUS = 0.12


class TwoHills(Fitted):
    """Chances known in closed form: a broad hill below the asked chance, a narrow one above."""

    def draw(self, settings, every=1):
        coded = self.space.code(settings)
        broad = 0.9 * np.exp(-np.sum((coded - BROAD) ** 2, axis=1) / 0.5)
        narrow = np.linalg.norm(coded - NARROW, axis=1) < RADIUS
        return [SimpleNamespace(chance=np.full(4, 0.99 if inside else chance), minutes=30.0,
                                size=32)
                for inside, chance in zip(narrow, broad, strict=True)]

    def success(self, point):
        return point.chance

    sampled_success = success

    def _mean_time(self, point):
        return point.minutes


@pytest.mark.parametrize("seed", range(5))
def test_a_narrow_region_apart_from_the_trials_is_found(seed):
    """It takes 0.7 % of the window and lies apart from where chances rise."""
    job = Dossier.start("examples/semivolatiles_to_dryness.toml").job
    known = fit(replace(job, seed=seed), [])
    fitted = TwoHills(known.job, [], known.surrogate, known.simulator)
    found = search(fitted)
    assert found.fastest is not None
    assert np.linalg.norm(fitted.space.code([found.fastest])[0] - NARROW) < RADIUS
