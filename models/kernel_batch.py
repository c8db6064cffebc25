"""Compiled loop over runs: settings and parameters to courses, courses to results."""

from __future__ import annotations

import numpy as np

from models.compilation import kernel, released
from models.kernel_data import CLASSES, MOLAR_VOLUME, P_COLD, Liquid, Rig
from models.kernel_run import run
from models.kernel_slopes import contents
from models.kernel_space import DRY, Course, Space, make_space
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
BREAKTHROUGH_END = INDEX["breakthrough_end"]
HOLD_UP = INDEX["hold_up"]
LEFT_IN_KEEPER = INDEX["left_in_keeper"]
LEAST_POWER = 0.03
"""Of the state variable u, which is 1 minus the area exponent up to there."""
MOST_HELD = 0.5
"""Share of the fill that a vessel which looks dry may hold: less than a tiny fill itself."""


@kernel
def relative_transfer(place: float) -> float:
    """Heat transfer at a place, relative to that of the mean position; below 0 is slower."""
    return 1.0 + place if place >= 0.0 else 1.0 / (1.0 - place)


@kernel
def plan(setting: Array, theta: Array, start: Array, liquid: Liquid, rig: Rig) -> Course:
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
    u, spread, exponent = theta[HEAT_TRANSFER], theta[VESSEL_SPREAD], theta[AREA_EXPONENT]
    power = max(1.0 - exponent, LEAST_POWER)
    fill, moles, trapped, trap_pressure = 0.0, 0.0, 0.0, 0.0
    for j in range(start.shape[0]):
        fill += start[j] * liquid.pure[j, MOLAR_VOLUME]
        moles += start[j]
        if j != rig.keeper:
            trapped += start[j]
            trap_pressure += start[j] * liquid.pure[j, P_COLD]
    floor = (rig.rim_area / rig.full_area) ** (1.0 / max(exponent, 0.1)) * rig.capacity / fill
    hold_up = min(theta[HOLD_UP] + rig.residue_volume, MOST_HELD * fill)
    last_wet = ((hold_up + setting[KEEPER]) / rig.capacity) ** exponent
    glass_area = rig.full_area * last_wet + rig.rim_area
    return Course(
        setting[SET_TEMPERATURE], setting[RAMP_RATE], end_pressure, pull_to, setting[HOLD],
        setting[END_VOLUME], theta[START_DELAY], ramp_begin,
        ramp_begin + (pull_to - end_pressure) / setting[RAMP_RATE],
        u * relative_transfer(spread * rig.place[0]),
        u * relative_transfer(spread * rig.place[1]),
        u * relative_transfer(spread * rig.place[2]), exponent, power, floor, fill,
        (fill / rig.capacity) ** exponent, glass_area, moles, hold_up,
        (hold_up / fill + floor) ** power,
        theta[CONDENSER_LIMIT], theta[FILM_TRANSPORT], theta[ENTRAINMENT], theta[WARMING_TIME],
        theta[END_SENSITIVITY] * rig.end_fraction, theta[BOIL_OVER_LIMIT],
        theta[BREAKTHROUGH_END], trap_pressure / trapped, theta[LEFT_IN_KEEPER],
    )


@kernel
def fill_moles(setting: Array, density: Array, keeper: int, out: Array) -> None:
    """Write moles [S] of a fill into ``out``; ``density`` [2, S]: mol/m3 of fill, of keeper."""
    for j in range(out.shape[0]):
        out[j] = setting[FILL] * density[0, j]
        if j == keeper:
            out[j] += setting[KEEPER] * density[1, j]


@kernel
def hand_over(space: Space, course: Course, liquid: Liquid, rig: Rig, exponent: Array,
              film: Array, dose: Array, volume: Array, dry: Array, now: Array) -> None:
    """Copy the results of a run out of the working memory."""
    for k in range(CLASSES):
        dose[k] = space.dose[k]
        dry[k] = space.dry[k, 0]
        volume[k] = course.hold_up
        if space.mode[k] != DRY:
            volume[k] = contents(space.y, k, course, liquid, rig)[1]
        for a in range(liquid.traces.shape[0]):
            exponent[k, a], film[k, a] = space.exponent[k, a], space.film[k, a]
    for i in range(now.shape[0]):
        now[i] = space.now[i]


@released
def run_block(
    settings: Array, theta: Array, density: Array, liquid: Liquid, rig: Rig, tolerance: float,
    exponent: Array, film: Array, dose: Array, volume: Array, dry: Array, now: Array,
) -> None:
    """Simulate a block of N runs.

    Parameters
    ----------
    settings, theta : [N, 7], [N, K]
    density : [2, S], of :func:`fill_moles`
    liquid, rig : what is the same for all runs
    tolerance : relative, of a step
    exponent, film, dose, volume, dry, now : [N, 3, A], [N, 3, A], [N, 3], [N, 3], [N, 3],
        [N, NOW], filled
    """
    start = np.zeros(liquid.pure.shape[0])
    rows = np.empty((0, 0))
    space = make_space(liquid.pure.shape[0], liquid.traces.shape[0], False)
    for i in range(settings.shape[0]):
        fill_moles(settings[i], density, rig.keeper, start)
        course = plan(settings[i], theta[i], start, liquid, rig)
        run(start, tolerance, rows, space, course, liquid, rig)
        hand_over(space, course, liquid, rig, exponent[i], film[i], dose[i], volume[i], dry[i],
                  now[i])


@released
def trace_one(setting: Array, theta: Array, density: Array, liquid: Liquid, rig: Rig,
              tolerance: float, now: Array, rows: Array) -> int:
    """Simulate one run and write its states into ``rows``; gives how many."""
    start = np.zeros(liquid.pure.shape[0])
    space = make_space(liquid.pure.shape[0], liquid.traces.shape[0], True)
    fill_moles(setting, density, rig.keeper, start)
    course = plan(setting, theta, start, liquid, rig)
    written = run(start, tolerance, rows, space, course, liquid, rig)
    now[:] = space.now
    return written
