"""Compiled loop over runs: settings and parameters to courses, courses to results."""

from __future__ import annotations

import numpy as np

from models.compilation import kernel, released
from models.kernel_data import MOLAR_VOLUME, Rig
from models.kernel_run import run
from models.kernel_slopes import LEAST_POWER, Course
from models.parameters import INDEX
from models.quantities import ATMOSPHERE
from models.system import Array

SET_TEMPERATURE, RAMP_RATE, END_PRESSURE, FILL, KEEPER, END_VOLUME, HOLD = range(7)
HEAT_TRANSFER = INDEX["heat_transfer"]
AREA_EXPONENT = INDEX["area_exponent"]
VESSEL_SPREAD = INDEX["vessel_spread"]
CONDENSER_LIMIT = INDEX["condenser_limit"]
START_DELAY = INDEX["start_delay"]
BOIL_OVER_LIMIT = INDEX["boil_over_limit"]
WARMING_TIME = INDEX["warming_time"]
END_SENSITIVITY = INDEX["end_sensitivity"]
ENTRAINMENT = INDEX["entrainment"]
FILM_TRANSPORT = INDEX["film_transport"]
HOLD_UP = INDEX["hold_up"]
SPREAD_TO_CLASS = np.sqrt(1.5)
"""Three equal classes at 1 - s, 1, 1 + s have the standard deviation s/sqrt(1.5)."""


@kernel
def plan(setting: Array, theta: Array, start: Array, pure: Array, rig: Rig) -> Course:
    """Course of one run.

    Parameters
    ----------
    setting : [7], columns of ``SETTING_COLUMNS``
    theta : [K] natural values of the parameters
    start : [S] mol in a vessel
    """
    end_pressure = max(setting[END_PRESSURE], rig.ultimate)
    pull_to = max(min(rig.ramp_start, ATMOSPHERE), end_pressure)
    ramp_begin = theta[START_DELAY] + np.log(ATMOSPHERE / pull_to) / rig.pump_rate
    spread = theta[VESSEL_SPREAD] * SPREAD_TO_CLASS
    u = theta[HEAT_TRANSFER]
    exponent = theta[AREA_EXPONENT]
    fill = 0.0
    for j in range(start.shape[0]):
        fill += start[j] * pure[j, MOLAR_VOLUME]
    power = max(1.0 - exponent, LEAST_POWER)
    hold_up = theta[HOLD_UP] + rig.residue_volume
    return Course(
        setting[SET_TEMPERATURE], setting[RAMP_RATE], end_pressure, pull_to, setting[HOLD],
        setting[END_VOLUME], theta[START_DELAY], ramp_begin,
        ramp_begin + (pull_to - end_pressure) / setting[RAMP_RATE],
        u / (1.0 + spread), u, u * (1.0 + spread), exponent, power,
        fill, (fill / rig.capacity) ** exponent, np.sum(start),
        hold_up, (hold_up / fill) ** power, theta[CONDENSER_LIMIT], theta[FILM_TRANSPORT],
        theta[ENTRAINMENT], theta[WARMING_TIME], theta[END_SENSITIVITY] * rig.end_fraction,
        theta[BOIL_OVER_LIMIT],
    )


@kernel
def fill_moles(setting: Array, density: Array, keeper: int, out: Array) -> None:
    """Write moles [S] of a fill into ``out``; ``density`` [2, S]: mol/m3 of fill, of keeper."""
    for j in range(out.shape[0]):
        out[j] = setting[FILL] * density[0, j]
        if j == keeper:
            out[j] += setting[KEEPER] * density[1, j]


@released
def run_block(
    settings: Array, theta: Array, density: Array, pure: Array, pair: Array, traces: Array,
    table: Array, rig: Rig, tolerance: float, exponent: Array, film: Array,
    dose: Array, volume: Array, dry: Array, result: Array,
) -> None:
    """Simulate a block of runs; arrays as in :func:`models.kernel_run.run` with [N] first."""
    start = np.zeros(pure.shape[0])
    rows = np.empty((0, 0))
    for i in range(settings.shape[0]):
        fill_moles(settings[i], density, rig.keeper, start)
        course = plan(settings[i], theta[i], start, pure, rig)
        run(course, start, pure, pair, traces, table, rig, tolerance, exponent[i], film[i],
            dose[i], volume[i], dry[i], result[i], rows)


@released
def trace_one(
    setting: Array, theta: Array, density: Array, pure: Array, pair: Array, traces: Array,
    table: Array, rig: Rig, tolerance: float, result: Array, rows: Array,
) -> int:
    """Simulate one run and write its states into ``rows``; gives how many."""
    start = np.zeros(pure.shape[0])
    fill_moles(setting, density, rig.keeper, start)
    course = plan(setting, theta, start, pure, rig)
    analytes = traces.shape[0]
    loss = np.zeros((2, 3, analytes))
    dose, volume, dry = np.zeros(3), np.zeros(3), np.zeros((3, 2))
    return run(course, start, pure, pair, traces, table, rig, tolerance, loss[0],
               loss[1], dose, volume, dry, result, rows)
