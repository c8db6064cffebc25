"""Differential distillation: the closed form (n_f/n_0)^alpha where it applies (R9).

At a steady pressure a single solvent boils at one temperature, so that alpha = P_i(T)/P of an
ideal trace is constant; the run model multiplies it by the entrainment. The interval between two
end volumes is taken, since the pull-down before them is not at constant temperature.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_jobs import job

from models.parameters import NAMES, PARAMETERS
from models.run_model import simulate
from models.volatility import boiling_temperature, ln_pressure

SHARES = (0.4, 0.2, 0.1)
SUPERHEAT = 20.0
"""K of the wall above the boiling point; below it diffusion takes part of the analyte."""
ENTRAINMENT = PARAMETERS[NAMES.index("entrainment")].median


def steady(seed):
    """A job at one pressure, with a condenser and pump that are no limit."""
    made = job(seed)
    made.setting[1], made.setting[6] = 1e5, 0.0
    ideal = replace(made.system, analyte_ln_gamma=np.zeros_like(made.system.analyte_ln_gamma))
    return replace(made, system=ideal, equipment=replace(
        made.equipment, condenser_power_w=1e5, pump_speed_m3_per_s=1.0))


def boils_freely(seed):
    made = steady(seed)
    boils = boiling_temperature(made.system.ln_p[0], made.setting[2])
    return made.setting[0] - boils > SUPERHEAT


@pytest.mark.parametrize("seed", [s for s in range(24) if boils_freely(s)])
def test_a_single_solvent_follows_the_closed_form(seed):
    """R9, closed form: to 1e-6 in the exponent."""
    made = steady(seed)
    rows = np.tile(made.setting, (len(SHARES), 1))
    rows[:, 5] = np.array(SHARES) * made.setting[3]
    load = replace(made.load, end_volume_control="weighing")
    batch = simulate(made.system, made.equipment, load, rows, np.zeros(len(NAMES)), tolerance=1e-7)
    assert batch.finished.all()
    pressure = made.setting[2]
    boils = boiling_temperature(made.system.ln_p[0], pressure)
    alpha = np.exp(ln_pressure(made.system.analyte_ln_p, boils)) / pressure
    span = np.log(batch.final_volume[:-1] / batch.final_volume[1:])
    found = np.diff(batch.boil_exponent, axis=0) / span[..., None]
    expected = np.broadcast_to(ENTRAINMENT * alpha, found.shape)
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-8)
