"""How runs end: dry in every vessel or not, and where the vapour passes the condenser."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_jobs import Job, job, saturation

from models.kernel_run import LEFT_SHARE
from models.mixture import breakthrough_pressure
from models.parameters import INDEX, NAMES
from models.run_findings import describe
from models.run_model import simulate
from models.run_trace import trace

SEEDS = range(12)


def ending(made: Job, end: float, switch: float) -> tuple[bool, bool]:
    """Whether a run to that end pressure (Pa) ends, and passes the condenser."""
    setting = made.setting.copy()
    setting[2] = end
    equipment = replace(made.equipment, ultimate_pressure_pa=min(100.0, 0.8 * end))
    z = np.zeros(len(NAMES))
    z[INDEX["breakthrough_end"]] = switch
    batch = simulate(made.system, equipment, made.load, setting, z)
    return bool(batch.finished[0] or batch.false_end[0]), bool(batch.breakthrough[0])


@pytest.mark.parametrize("seed", SEEDS)
def test_the_end_point_is_void_below_saturation_unless_it_is_noticed(seed: int) -> None:
    """The vapour goes on to the pump, so the load never tells."""
    made = job(seed)
    end = 0.5 * saturation(made.system, 0, made.equipment.condenser_temperature_k)
    assert ending(made, end, -3.0) == (False, True)
    assert ending(made, end, 3.0) == (True, True)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_lighter_part_of_what_the_condenser_holds_leaves_again(seed: int) -> None:
    """Below the saturation pressure of the whole fill, though what boils last would condense.

    By Raoult's law, worked out here from the fill.
    """
    made = job(seed, solvents=2)
    system, cold = made.system, made.equipment.condenser_temperature_k
    moles = system.fraction * system.density / system.molar_mass
    light, heavy = saturation(system, 0, cold), saturation(system, 1, cold)
    limit = float(moles @ [light, heavy] / moles.sum())
    end = max(0.8 * limit, np.sqrt(heavy * limit))
    assert heavy < end < limit
    assert ending(made, end, -3.0) == (False, True)
    assert ending(made, end, 3.0)[0]
    assert breakthrough_pressure(system, moles / moles.sum(), cold) == pytest.approx(limit)
    assert not ending(made, 1.05 * limit, -3.0)[1]


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


@pytest.mark.parametrize("seed", SEEDS)
def test_no_liquid_comes_back_however_small_the_fill_and_however_much_residue(seed: int) -> None:
    """A hold-up of some 20 uL and the residue were once more than all of a tiny fill."""
    made = job(seed, keeper=seed % 2 == 0)
    for fill, residue in ((made.setting[3], made.load.residue_kg), (1e-8, 2e-6), (8e-7, 7e-4)):
        setting = made.setting.copy()
        setting[3:5] *= fill / made.setting[3]
        load = replace(made.load, residue_kg=residue)
        run = trace(made.system, made.equipment, load, setting, made.z)
        assert (np.diff(run.volume, axis=0) <= 1e-12 * run.volume[0]).all()
        if run.stop.finished:
            assert (run.volume[-1] <= 0.5 * run.volume[0] + setting[4]).all()


def test_a_run_given_up_before_its_end_pressure_says_so() -> None:
    """Not that the solvent does not boil there."""
    made = job(3)
    setting = made.setting.copy()
    setting[1] = 1e-2
    load = replace(made.load, max_run_time_s=120.0)
    (found, *_) = trace(made.system, made.equipment, load, setting, made.z).findings
    assert found.code == "out of time"
    assert "still" in found.message
    assert "faster ramp" in found.cure


def test_a_little_that_is_left_is_never_called_nothing() -> None:
    made = job(1)
    stop = trace(made.system, made.equipment, made.load, made.setting, made.z).stop
    begun = np.ones((3, len(made.system.solvents)))
    (found,) = describe(replace(stop, finished=False, stopped=True, false_end=True, frozen=False,
                                breakthrough=False, boil_over_index=0.0, peak_temperature=0.0),
                        made.system, made.equipment, made.load, np.stack([begun, 0.004 * begun]))
    assert "left (0.4 % of it)" in found.message


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


def test_a_wall_above_the_limit_of_the_sample_is_said_even_where_the_sample_stays_below() -> None:
    made = job(1)
    stop = replace(trace(made.system, made.equipment, made.load, made.setting, made.z).stop,
                   boil_over_index=0.0)
    moles = np.ones((2, 3, len(made.system.solvents)))

    def codes(limit: float, peak: float) -> list[str]:
        load = replace(made.load, max_temperature_k=stop.set_temperature + limit)
        ended = replace(stop, finished=True, false_end=False, stopped=True, frozen=False,
                        breakthrough=False, peak_temperature=load.max_temperature_k + peak)
        return [f.code for f in describe(ended, made.system, made.equipment, load, moles)]

    assert codes(0.0, -5.0) == []
    assert codes(-4.0, -5.0) == ["wall above the sample's limit"]
    assert codes(-4.0, 2.0) == ["sample too warm"]
