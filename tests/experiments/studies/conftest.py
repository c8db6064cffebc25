"""Benches small enough for tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments.studies.bench import Bench, FreeFactor, Noise, Truth
from experiments.studies.benches import physical_bench, physics_free_bench
from models.system import Array

QUIET = Noise(vessel=0.005, effect_high=0.01, effect_low=0.02, time_within=0.01,
              time_between=0.01)


@pytest.fixture(scope="session")
def physical() -> Bench:
    return physical_bench(1)


@pytest.fixture(scope="session")
def surface() -> Bench:
    return physics_free_bench(1)


class Bowl:
    """ln(time) falls towards a hot wall; recovery falls from 95 % with distance from cool."""

    def __call__(self, rows: Array) -> Truth:
        hot = (rows[:, 0] - 30.0) / 30.0
        ramp = np.log(rows[:, 1] / 5.0) / np.log(60.0)
        low = np.log(rows[:, 2] / 3.0) / np.log(80.0)
        time = 60.0 * np.exp(-0.8 * hot - 0.3 * ramp + 0.2 * low)
        recovery = 97.0 - 22.0 * hot**2 - 6.0 * (1.0 - low) ** 2
        cold = hot + 0.9 * (1.0 - low) < 0.25  # the corner in which nothing boils
        status = np.where(cold, 1, 0).astype(np.int64)
        return Truth(np.where(cold, np.nan, time), np.repeat(
            recovery[:, None, None], 4, axis=1), status, np.zeros(len(rows)))


@pytest.fixture(scope="session")
def bowl(surface: Bench) -> Bench:
    """Three factors, one analyte, optimum where the recovery meets its target of 85 %."""
    free = (FreeFactor("set_temperature_c", 30.0, 60.0),
            FreeFactor("ramp_rate_mbar_per_min", 5.0, 300.0),
            FreeFactor("end_pressure_mbar", 3.0, 240.0))
    analyte = {"name": "naphthalene", "target_recovery_percent": 85.0, "spike_ug": 10.0}
    job = {
        **surface.job, "analytes": [analyte],
        "equipment": {**surface.job["equipment"], "vessels": 4},
        "factors": {f.name: {"low": f.low, "high": f.high} for f in free},
    }
    return replace(surface, family="toy", seed=0, job=job, free=free, noise=QUIET,
                   evaluate=Bowl(), region=0.3)
