"""Compiled events of a run: what happens when a function of the state falls below zero."""

from __future__ import annotations

import numpy as np

from models.compilation import inlined, kernel
from models.kernel_data import CLASSES, FREEZING, MOLAR_VOLUME, Liquid, Rig
from models.kernel_liquid import ln_saturation, ln_saturation_slope, partial_pressures
from models.kernel_slopes import contents, fractions, schedule
from models.kernel_space import (
    AT_VOLUME,
    BOILED,
    BOILING,
    CLOCK,
    DRY,
    EMPTY,
    ENTHALPY,
    EVENTS,
    FLOW,
    FROZE,
    FROZEN,
    HEATING,
    ICE,
    INDEX,
    LEAVE,
    LOAD,
    MARGIN,
    MOLES,
    ON,
    PAST_STEP,
    PEAK,
    PIECE,
    QUIET,
    REACHED,
    REJOIN,
    START,
    STILL,
    SURFACE,
    TEMPERATURE,
    TIP,
    TIPPED,
    VOLUME,
    Course,
    Space,
)
from models.quantities import GAS_CONSTANT
from models.spin import BURST_FACTOR, LEAST_ROOM, USABLE_SHARE
from models.system import Array

ICE_SCALE = 20.0  # K
FUSION_ENTROPY = 56.5  # J/(mol K), Walden's rule (Walden 1908; from memory)
MAIN_SHARE = 0.5  # mole fraction from which a component can freeze the vessel
SAME = 1e-9  # relative; a pressure this little above its schedule is on it
VOID = 1.0  # value of an event that cannot happen now
STILL_WITHIN = 0.02  # K of the wall: liquid that does not boil any more
ALLOWED = np.array(
    [1.0, 1.0, 1.0, 0.1, 0.1, 0.1, 3.0, 1e-2, 0.02, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0]
)
"""By how much each event may be passed, times the tolerance of the run.

The end point is at one or two hundredths of the peak load: passed by 0.003, as it may have been
once, it came minutes late and cost volatile analytes up to 16 points.
"""


@inlined
def ice_event(k: int, y: Array, f: Array, out: Array, space: Space, pure: Array) -> None:
    """Write by how much a class is off freezing out its main component, and the slope of that.

    A component freezes the vessel where the liquid is below its freezing point and more than
    ``MAIN_SHARE`` of it: the larger of the two gaps tells, and goes through zero smoothly.
    Ideal solubility with the entropy of fusion of Walden's rule (estimate); exact for a pure
    solvent.
    """
    solvents = pure.shape[0]
    base = 1 + k * (solvents + 1)
    temperature, warming = space.aux[k, TEMPERATURE], f[base + solvents]
    if solvents == 1:
        out[0, ICE + k] = (temperature - pure[0, FREEZING]) / ICE_SCALE
        out[1, ICE + k] = warming / ICE_SCALE
        return
    moles, drift = space.aux[k, MOLES], 0.0
    for j in range(solvents):
        drift += f[base + j]
    for j in range(solvents):
        x = y[base + j] / moles
        change = (f[base + j] - x * drift) / moles
        value, slope = MAIN_SHARE - x, -change
        if x > 0.0:
            bend = 1.0 - GAS_CONSTANT / FUSION_ENTROPY * np.log(x)
            point = pure[j, FREEZING] / bend
            warm = (temperature - point) / ICE_SCALE
            if warm > value:
                value = warm
                slope = (warming - point * GAS_CONSTANT / FUSION_ENTROPY * change / (x * bend)
                         ) / ICE_SCALE
        if j == 0 or value < out[0, ICE + k]:
            out[0, ICE + k], out[1, ICE + k] = value, slope


@inlined
def boiling_event(k: int, y: Array, f: Array, out: Array, space: Space, liquid: Liquid,
                  rig: Rig) -> None:
    """Write ln of the chamber pressure over the bubble pressure of a class, and its slope."""
    solvents = liquid.pure.shape[0]
    place = 1 + k * (solvents + 1) + solvents
    temperature = y[place]
    if solvents == 1:
        ln_bubble = ln_saturation(liquid.pure, 0, temperature, np.log(temperature))
        by_t = ln_saturation_slope(liquid.pure, 0, temperature)
    else:
        x = space.scratch[4]
        fractions(y, place - solvents, space.aux[k, MOLES], x)
        bubble, by_t = partial_pressures(
            x, temperature, liquid, rig, space.scratch[1], space.scratch[0], space.work)
        ln_bubble = np.log(bubble)
    out[0, START + k] = np.log(y[0]) - ln_bubble
    out[1, START + k] = f[0] / y[0] - by_t * f[place]


@inlined
def level_events(k: int, y: Array, f: Array, out: Array, space: Space, course: Course,
                 liquid: Liquid, rig: Rig) -> float:
    """Write the events of a class that shrinks; give the slope of its volume (m3/s)."""
    solvents = liquid.pure.shape[0]
    base, volume = 1 + k * (solvents + 1), space.aux[k, VOLUME]
    share = volume / course.fill + course.floor
    shrinking = 0.0
    if solvents == 1:
        level, slope = y[base], f[base]
        shrinking = course.fill * share * slope / (course.power * level)
    else:
        level = share**course.power
        for j in range(solvents):
            shrinking += f[base + j] * liquid.pure[j, MOLAR_VOLUME]
        slope = course.power * level * shrinking / (share * course.fill)
    out[0, EMPTY + k] = level - course.dry_level
    out[1, EMPTY + k] = slope
    if space.mode[k] == BOILING:
        ice_event(k, y, f, out, space, liquid.pure)
    if rig.control == 2 and course.end_volume > 0.0:
        out[0, TIPPED + k] = volume / course.end_volume - 1.0
        out[1, TIPPED + k] = shrinking / course.end_volume
    return shrinking


@inlined
def condenses(pressure: float, space: Space, course: Course) -> bool:
    """Whether at that pressure (Pa) neither what boils nor what is caught passes the condenser."""
    return pressure > max(space.cold[0], course.trap_pressure)


@inlined
def event_values(t: float, y: Array, f: Array, out: Array, space: Space, course: Course,
                 liquid: Liquid, rig: Rig) -> None:
    """Write every event's value and time derivative into ``out`` [2, EVENTS].

    The value is VOID where the event cannot happen; a derivative that is not known is nan.
    """
    now = space.now
    for i in range(EVENTS):
        out[0, i], out[1, i] = VOID, 0.0
    total, total_slope = 0.0, 0.0
    for k in range(CLASSES):
        if space.mode[k] > STILL:
            total += rig.share[k] * contents(y, k, course, liquid, rig)[1]
            continue
        total += rig.share[k] * space.aux[k, VOLUME]
        if space.mode[k] == HEATING:
            boiling_event(k, y, f, out, space, liquid, rig)
        else:
            total_slope += rig.share[k] * level_events(
                k, y, f, out, space, course, liquid, rig)
    stops_at_volume = rig.control == 1 and course.end_volume > 0.0
    if stops_at_volume:
        out[0, REACHED] = total / course.end_volume - 1.0
        out[1, REACHED] = total_slope / course.end_volume
    if now[ON] > 0.0:
        out[0, LEAVE] = now[MARGIN] + 1e-6
        out[1, LEAVE] = np.nan
        waiting = now[CLOCK] < 0.0 and now[PEAK] > 0.0 and now[PIECE] == 3.0
        noticed = condenses(y[0], space, course) or course.ends_through > 0.0
        if waiting and noticed and not stops_at_volume:
            out[0, QUIET] = now[LOAD] / now[PEAK] - course.end_share
            out[1, QUIET] = np.nan
    else:
        wanted, wanted_slope = schedule(t, now[PIECE], course, rig)
        out[0, REJOIN] = y[0] / wanted - 1.0
        out[1, REJOIN] = (f[0] - y[0] / wanted * wanted_slope) / wanted


@inlined
def guess_slopes(h: float, space: Space) -> None:
    """Fill slopes of events that have none from the parabola through three moments."""
    before, after, past, past_h = space.before, space.after, space.past, space.now[PAST_STEP]
    for i in (LEAVE, QUIET):
        if past_h > 0.0 and past[i] < VOID and before[0, i] < VOID and after[0, i] < VOID:
            first = (before[0, i] - past[i]) / past_h
            second = (after[0, i] - before[0, i]) / h
            bend = (second - first) / (h + past_h)
            before[1, i] = first + bend * past_h
            after[1, i] = second + bend * h


@kernel
def shorten(h: float, before: Array, after: Array, tolerance: float) -> float:
    """Share of the step h (s) at which the first event that it went past happens; 1 for none.

    The root of the cubic through values and slopes at both ends, of a straight line where
    slopes are not known. An event that is about to happen is taken as happened.
    """
    share = 1.0
    for i in range(EVENTS):
        allowed = ALLOWED[i] * tolerance
        if before[0, i] > after[0, i] > 0.0 and i not in (LEAVE, QUIET, REACHED):
            if after[0, i] < allowed:
                after[0, i] = -1e-12
            continue
        if after[0, i] >= -allowed or before[0, i] <= 0.0:
            continue
        e0, e1 = before[0, i] + 0.5 * allowed, after[0, i] + 0.5 * allowed
        d0, d1 = before[1, i] * h, after[1, i] * h
        if np.isnan(d0 + d1):
            share = min(share, e0 / (e0 - e1))
            continue
        a, b = d0 + d1 + 2.0 * (e0 - e1), 3.0 * (e1 - e0) - 2.0 * d0 - d1
        low, high = 0.0, 1.0
        for _ in range(20):
            s = 0.5 * (low + high)
            if e0 + s * (d0 + s * (b + s * a)) > 0.0:
                low = s
            else:
                high = s
        share = min(share, high)
    return share


@inlined
def fall_dry(k: int, t: float, space: Space, course: Course, solvents: int) -> None:
    """Let a class fall dry at time t (s).

    The event is met within a tolerance, but what boils off goes with the logarithm of what is
    left: the last of the liquid, down to the hold-up, still takes its share of the analytes.
    """
    space.mode[k] = DRY
    space.dry[k, 0] = t
    space.dry[k, 1] = space.y[1 + k * (solvents + 1) + solvents]
    last = np.log(space.aux[k, VOLUME] / course.hold_up)
    for a in range(space.exponent.shape[1]):
        space.exponent[k, a] += last * space.loss0[0, k, a]


@inlined
def turn(t: float, values: Array, moved: bool, space: Space, course: Course,
         solvents: int) -> bool:
    """Let events happen whose values are negative; tell whether any did.

    ``moved`` is false right after another event: a pressure that just left its schedule finds it
    again only if it would fall below it, as where the ramp ends in that moment.
    """
    mode, now = space.mode, space.now
    happened = False
    for k in range(CLASSES):
        if values[0, START + k] < 0.0:
            mode[k] = BOILING
            now[BOILED] = min(now[BOILED], t)
        elif values[0, ICE + k] < 0.0:
            mode[k] = FROZEN
            now[FROZE] = 1.0
        elif values[0, TIPPED + k] < 0.0:
            mode[k] = TIP
        elif values[0, EMPTY + k] < 0.0:
            fall_dry(k, t, space, course, solvents)
        else:
            continue
        happened = True
    if values[0, LEAVE] < 0.0:
        now[ON] = 0.0
        happened = True
    elif values[0, REJOIN] < 0.0 if moved else (
            values[0, REJOIN] <= SAME and values[1, REJOIN] < 0.0):
        now[ON] = 1.0
        happened = True
    if values[0, QUIET] < 0.0:
        now[CLOCK] = t
        happened = True
    if values[0, REACHED] < 0.0:
        now[AT_VOLUME] = 1.0
    return happened


@inlined
def settle(space: Space, course: Course, liquid: Liquid, rig: Rig) -> bool:
    """Stop boiling where heat no longer suffices and call liquid at the wall's heat still."""
    mode, y, solvents = space.mode, space.y, liquid.pure.shape[0]
    tail = 1 + CLASSES * (solvents + 1)
    at_end = space.now[ON] > 0.0 and space.now[PIECE] == 3.0
    changed = False
    for k in range(CLASSES):
        place = 1 + k * (solvents + 1) + solvents
        near = abs(course.set_temperature - y[place]) < STILL_WITHIN
        if mode[k] == BOILING and space.aux[k, FLOW] < 0.0:
            mode[k] = HEATING
            changed = True
        elif at_end and near and (mode[k] == HEATING or (mode[k] == BOILING and solvents > 1)):
            mode[k] = STILL
            if y.shape[0] > tail:
                capacity = contents(y, k, course, liquid, rig)[2]
                y[tail + 3 * k] += capacity * (course.set_temperature - y[place])
            y[place] = course.set_temperature
            changed = True
    return changed


@inlined
def note_boil_over(space: Space, course: Course, rig: Rig) -> None:
    """Keep in ``now[INDEX]`` how near the worst class came to throwing liquid out.

    Vapour flux over the rise velocity of bubbles, for the share of the depth that can boil
    against the pressure of the spinning liquid, over the room left for swelling
    (:mod:`models.spin`); above 1 liquid is thrown out.
    """
    worst, p = space.now[INDEX] * course.boil_over, space.y[0]
    for k in range(CLASSES):
        if space.mode[k] != BOILING:
            continue
        temperature, volume = space.aux[k, TEMPERATURE], space.aux[k, VOLUME]
        surface = space.aux[k, SURFACE]
        flux = max(space.aux[k, FLOW], 0.0) * GAS_CONSTANT * temperature / (p * surface)
        room = max(USABLE_SHARE * rig.capacity / volume - 1.0, LEAST_ROOM)
        full = BURST_FACTOR * flux / (rig.rise * room)
        if full <= worst:
            continue
        superheat = (course.set_temperature - temperature) / (
            temperature * course.set_temperature)
        rise = space.aux[k, ENTHALPY] / GAS_CONSTANT * superheat
        deep = p * max(np.expm1(rise), 0.0) / (rig.density * rig.acceleration)
        worst = max(worst, full * -np.expm1(-deep * surface / volume))
    space.now[INDEX] = worst / course.boil_over
