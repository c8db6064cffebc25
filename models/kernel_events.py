"""Compiled events of a run: what happens when a function of the state falls below zero."""

from __future__ import annotations

import numpy as np

from models.compilation import inlined, kernel
from models.kernel_data import CLASSES, FREEZING, Modes, Rig
from models.kernel_liquid import ln_saturation, partial_pressures
from models.kernel_slopes import (
    BOILING,
    ENTHALPY,
    FLOW,
    HEATING,
    STILL,
    SURFACE,
    TEMPERATURE,
    VOLUME,
    Course,
    contents,
    schedule,
)
from models.quantities import GAS_CONSTANT
from models.spin import BURST_FACTOR, LEAST_ROOM, USABLE_SHARE
from models.system import Array

START, EMPTY, LEAVE, REJOIN, QUIET, REACHED, TIPPED, ICE = 0, 3, 6, 7, 8, 9, 10, 13
EVENTS = 16
ICE_SCALE = 20.0  # K
FUSION_ENTROPY = 56.5  # J/(mol K), Walden's rule (Walden 1908; from memory)
MAIN_SHARE = 0.5  # mole fraction from which a component can freeze the vessel
VOID = 1.0  # value of an event that cannot happen now


@inlined
def freezing_point(x: Array, pure: Array) -> float:
    """Temperature (K) at which the main component of the mixture x [S] freezes out.

    Ideal solubility with the entropy of fusion of Walden's rule (estimate); exact for a
    pure solvent.
    """
    point = 0.0
    for j in range(x.shape[0]):
        if x[j] > MAIN_SHARE:
            point = pure[j, FREEZING] / (1.0 - GAS_CONSTANT / FUSION_ENTROPY * np.log(x[j]))
    return point


@kernel
def event_values(
    t: float, y: Array, mode: Modes, on: bool, clock: float, load: float, leave: float,
    peak: float, course: Course, pure: Array, pair: Array, rig: Rig, aux: Array,
    cold: Array, scratch: Array, work: Array, out: Array,
) -> None:
    """Write the value of every event into ``out`` [EVENTS]; VOID where it cannot happen."""
    solvents = pure.shape[0]
    out[:] = VOID
    x = scratch[3]
    x[0] = 1.0
    total = 0.0
    for k in range(CLASSES):
        base = 1 + k * (solvents + 1)
        if mode[k] > STILL:
            total += contents(y, k, course, pure, rig)[1]
            continue
        temperature, volume = y[base + solvents], aux[k, VOLUME]
        total += volume
        if solvents > 1:
            moles = 0.0
            for j in range(solvents):
                moles += max(y[base + j], 0.0)
            for j in range(solvents):
                x[j] = max(y[base + j], 0.0) / moles
        if mode[k] == HEATING:
            if solvents == 1:
                ln_bubble = ln_saturation(pure, 0, temperature, np.log(temperature))
            else:
                ln_bubble = np.log(partial_pressures(
                    x, temperature, pure, pair, rig.ideal, scratch[1], scratch[0], work)[0])
            out[START + k] = np.log(y[0]) - ln_bubble
        else:
            if solvents == 1:
                out[EMPTY + k] = y[base] - course.dry_level
            else:
                out[EMPTY + k] = (volume / course.fill) ** course.power - course.dry_level
        if mode[k] == BOILING:
            out[ICE + k] = (aux[k, TEMPERATURE] - freezing_point(x, pure)) / ICE_SCALE
        if rig.control == 2 and course.end_volume > 0.0:
            out[TIPPED + k] = volume / course.end_volume - 1.0
    if on:
        out[LEAVE] = leave + 1e-6
        if (t >= course.ramp_end and clock < 0.0 and peak > 0.0 and y[0] > cold[0]
                and (rig.control != 1 or course.end_volume == 0.0)):
            out[QUIET] = (load - course.end_share * peak) / peak
    else:
        out[REJOIN] = y[0] / schedule(t, course, rig)[0] - 1.0
    if rig.control == 1 and course.end_volume > 0.0:
        out[REACHED] = total / (CLASSES * course.end_volume) - 1.0


@kernel
def boil_over_index(y: Array, mode: Modes, course: Course, rig: Rig, aux: Array,
                    known: float) -> float:
    """How near the worst class is to throwing liquid out; above 1 it does.

    ``known`` is an index reached before: only higher ones are worked out.

    Vapour flux over the rise velocity of bubbles, for the share of the depth that can boil
    against the pressure of the spinning liquid, over the room left for swelling
    (:mod:`models.spin`).
    """
    worst = known * course.boil_over
    p = y[0]
    for k in range(CLASSES):
        if mode[k] != BOILING:
            continue
        temperature, volume = aux[k, TEMPERATURE], aux[k, VOLUME]
        surface = aux[k, SURFACE]
        flux = max(aux[k, FLOW], 0.0) * GAS_CONSTANT * temperature / (p * surface)
        room = max(USABLE_SHARE * rig.capacity / volume - 1.0, LEAST_ROOM)
        full = BURST_FACTOR * flux / (rig.rise * room)
        if full <= worst:
            continue
        superheat = course.set_temperature - temperature
        rise = aux[k, ENTHALPY] / GAS_CONSTANT * superheat / (temperature * course.set_temperature)
        deep = p * max(np.expm1(rise), 0.0) / (rig.density * rig.acceleration)
        share = -np.expm1(-deep * surface / volume)
        worst = max(worst, full * share)
    return worst / course.boil_over
