"""How runs end: dry in every vessel or not, and where the vapour passes the condenser."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_jobs import job, saturation

from models.kernel_run import LEFT_SHARE
from models.parameters import INDEX, NAMES
from models.run_model import simulate

SEEDS = range(12)


def breakthrough(seed: int, switch: float) -> tuple[bool, bool]:
    """Whether a run to half the condenser's saturation pressure ends, and passes it."""
    made = job(seed)
    cold = made.equipment.condenser_temperature_k
    setting = made.setting.copy()
    setting[2] = 0.5 * saturation(made.system, 0, cold)
    equipment = replace(made.equipment, ultimate_pressure_pa=min(100.0, 0.4 * setting[2]))
    z = np.zeros(len(NAMES))
    z[INDEX["breakthrough_end"]] = switch
    batch = simulate(made.system, equipment, made.load, setting, z)
    return bool(batch.finished[0] or batch.false_end[0]), bool(batch.breakthrough[0])


@pytest.mark.parametrize("seed", SEEDS)
def test_the_end_point_is_void_below_saturation_unless_it_is_noticed(seed: int) -> None:
    """The vapour goes on to the pump, so the load never tells."""
    assert breakthrough(seed, -3.0) == (False, True)
    assert breakthrough(seed, 3.0) == (True, True)


def test_one_wet_vessel_class_makes_a_run_not_dry() -> None:
    rng = np.random.default_rng(2)
    wet = dry = 0
    for seed in range(60):
        made = job(seed)
        z = made.z[None] + 0.3 * rng.standard_normal((8, len(NAMES)))
        batch = simulate(made.system, made.equipment, made.load, np.tile(made.setting, (8, 1)), z)
        fill = made.setting[3]
        for i in range(8):
            left = batch.final_volume[i].max()
            if batch.false_end[i]:
                wet += 1
                assert left > LEFT_SHARE * fill
            elif batch.finished[i]:
                dry += 1
                assert np.median(batch.final_volume[i]) < 0.02 * fill
    assert wet > 20
    assert dry > 20


def test_a_keeper_that_leaves_by_diffusion_leaves_numbers() -> None:
    """Long runs whose keeper goes: at the coarse tolerance of learning a step may try to
    empty a vessel."""
    rng = np.random.default_rng(7)
    for seed in range(40):
        made = job(seed, 1, keeper=True)
        z = 1.3 * rng.standard_normal((24, len(NAMES)))
        setting = made.setting.copy()
        setting[1], setting[4] = 20.0, 0.02 * setting[3]
        batch = simulate(made.system, made.equipment, made.load, np.tile(setting, (24, 1)), z,
                         tolerance=1e-2)
        for values in (batch.boil_exponent, batch.film_dose, batch.thermal_dose):
            assert np.isfinite(values).all()
