"""Compiled run of one batch from lid-close to stop: steps, events, losses.

Events end a step where they happen: a class starts to boil, falls dry, reaches the end
volume or freezes; the pressure leaves its schedule or finds it again; the condenser load
falls to its share of the peak. Each event is a function of the state that is positive before
and negative after; a step that goes too far past one is made again, shorter.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined, kernel
from models.kernel_data import CLASSES, H_COLD, MOLAR_VOLUME, P_COLD, Liquid, Rig
from models.kernel_events import (
    condenses,
    event_values,
    guess_slopes,
    note_boil_over,
    settle,
    shorten,
    turn,
)
from models.kernel_losses import accumulate, dry_temperature, rates
from models.kernel_slopes import contents, piece_of, schedule, slopes
from models.kernel_space import (
    AT_VOLUME,
    BOILED,
    BOILING,
    CLOCK,
    DRY,
    EMPTY,
    EVENTS,
    FALSE_END,
    FREE_STEP,
    GONE,
    HALF,
    INDEX,
    LOAD,
    MOLES,
    MOST,
    OLD_LOAD,
    OLD_TIME,
    OLDER_LOAD,
    OLDER_TIME,
    ON,
    OVER,
    PAST_STEP,
    PEAK,
    PIECE,
    STEPS,
    STOPPED,
    TEMPERATURE,
    THROUGH,
    TIME,
    TIP,
    WARMEST,
    Course,
    Space,
)
from models.kernel_step import advance, error_ratio, stiffness
from models.quantities import ATMOSPHERE, REFERENCE_TEMPERATURE
from models.system import Array

MOST_STEPS = 4000
FIRST_STEP = 5.0  # s
PRESSURE_STEP = 0.3  # relative change of the pressure allowed in a step
LEAST_CUT = 0.25  # of a step that was not accurate enough; its error tells little of how much
MOST_GROWTH = 4.0  # from step to step
SINGLE_REACH, MIXTURE_REACH = 0.85, 0.72
"""Share of the way to dryness in one step: the state of a mixture bends near its end."""
LEFT_SHARE = 0.005  # of the fill; a vessel with more when the run stops is not dry
MOST_SHARE = 0.9  # of the solvents, as vapour
JUMP = 1e-6  # of the peak load; an event that changes the load by more is two rows of a trace
ROW_HEAD, ROW_CLASS = 5, 7


@inlined
def begin(start: Array, space: Space, course: Course, liquid: Liquid) -> None:
    """Set the state at lid-close: ``start`` [S] mol in each vessel, at rest and at 20 degC."""
    solvents, y = liquid.pure.shape[0], space.y
    space.exponent[:] = 0.0
    space.film[:] = 0.0
    space.dose[:] = 0.0
    space.now[:] = 0.0
    space.dry[:] = np.nan
    space.mode[:] = 0
    y[:] = 0.0
    y[0] = ATMOSPHERE
    main = np.argmax(start)
    space.cold[0], space.cold[1] = liquid.pure[main, P_COLD], liquid.pure[main, H_COLD]
    for k in range(CLASSES):
        base = 1 + k * (solvents + 1)
        y[base + solvents] = REFERENCE_TEMPERATURE
        for j in range(solvents):
            y[base + j] = start[j]
        if solvents == 1:
            y[base] = (1.0 + course.floor) ** course.power
    now = space.now
    now[CLOCK], now[FREE_STEP], now[ON], now[WARMEST] = -1.0, FIRST_STEP, 1.0, y[solvents + 1]
    now[BOILED], now[HALF], now[MOST] = np.inf, np.inf, np.inf


@inlined
def take_boiling_point(k: int, space: Space, solvents: int) -> None:
    """Let a boiling class be as warm as its boiling point."""
    space.y[1 + k * (solvents + 1) + solvents] = space.aux[k, TEMPERATURE] - space.aux[k, OVER]


@inlined
def look_around(space: Space, course: Course, liquid: Liquid, rig: Rig) -> None:
    """After an event: slopes, events that follow at once, and loss rates at this moment."""
    now = space.now
    now[PIECE] = piece_of(now[TIME], course)
    for _ in range(8):
        slopes(now[TIME], space.y, space.f, space.pull, space, course, liquid, rig)
        event_values(now[TIME], space.y, space.f, space.before, space, course, liquid, rig)
        if not turn(now[TIME], space.before, False, space, course, liquid.pure.shape[0]):
            break
    now[PEAK] = max(now[PEAK], now[LOAD])
    rates(space.y, space.loss0, space.heat0, space, course, liquid)
    for k in range(CLASSES):
        if space.mode[k] == BOILING:  # met its boiling point within a tolerance
            take_boiling_point(k, space, liquid.pure.shape[0])
        space.moles[k] = space.aux[k, MOLES]
    now[OLDER_TIME], now[OLD_TIME], now[PAST_STEP] = -1.0, -1.0, 0.0


@inlined
def next_corner(space: Space, course: Course, rig: Rig) -> float:
    """Time (s) of the next bend of the schedule, end of the hold or end of patience."""
    corner, t, clock = rig.max_time, space.now[TIME], space.now[CLOCK]
    if clock >= 0.0:
        corner = min(corner, clock + course.hold)
    if course.delay > t + 1e-9:
        corner = min(corner, course.delay)
    if course.ramp_begin > t + 1e-9:
        corner = min(corner, course.ramp_begin)
    if course.ramp_end > t + 1e-9:
        corner = min(corner, course.ramp_end)
    return corner


@inlined
def longest_step(space: Space, course: Course, solvents: int) -> float:
    """Bound (s) on the step from what changes fast apart from the error estimate."""
    h, f, losing = space.now[FREE_STEP], space.f, False
    usual_reach = SINGLE_REACH if solvents == 1 else MIXTURE_REACH
    for k in range(CLASSES):
        if space.mode[k] == DRY:
            losing = True
        elif space.mode[k] == BOILING:
            losing = True
            above, falling = space.before[0, EMPTY + k], -space.before[1, EMPTY + k]
            if falling > 0.0:
                reach = 1.02 if above < course.dry_level else usual_reach
                h = min(h, max(reach * above / falling, 1e-3))
    if losing and f[0] != 0.0:
        h = min(h, PRESSURE_STEP * space.y[0] / abs(f[0]))
    return h


@inlined
def make_step(corner: float, tolerance: float, space: Space, course: Course, liquid: Liquid,
              rig: Rig) -> float:
    """Try steps until one is accurate enough and goes past no event; give its length (s)."""
    solvents, now = liquid.pure.shape[0], space.now
    t = now[TIME]
    h = longest_step(space, course, solvents)
    jacobian = 0.0
    if now[ON] <= 0.0:
        jacobian = stiffness(t, space, course, liquid, rig)
    tries, ratio, most_growth = 0, 0.0, MOST_GROWTH
    while True:
        if t + h >= corner - 1e-6:
            h = corner - t
        advance(t, h, jacobian, space, course, liquid, rig)
        ratio = error_ratio(space, course, solvents, tolerance)
        tries += 1
        if not ratio <= 1.0 and h > 1e-6:
            h *= max(0.9 * ratio ** (-1.0 / 3.0), LEAST_CUT) if ratio < 1e6 else LEAST_CUT
            now[FREE_STEP] = h
            most_growth = 1.0  # a longer one right after it would fail again
            continue
        event_values(t + h, space.new, space.new_f, space.after, space, course, liquid, rig)
        guess_slopes(h, space)
        share = shorten(h, space.before, space.after, tolerance)
        if share < 1.0 and tries < 40 and h > 1e-6:
            h *= max(share, 0.02)
            continue
        break
    longer = h * min(0.9 * max(ratio, 1e-3) ** (-1.0 / 3.0), most_growth)
    forced = tries > 1 or t + h >= corner - 1e-6
    now[FREE_STEP] = max(now[FREE_STEP], longer) if forced else longer
    return h


@inlined
def take_over(t: float, h: float, space: Space, course: Course, liquid: Liquid,
              rig: Rig) -> None:
    """Make the new state the state, at time t, and add up what was lost over the step."""
    solvents, now = liquid.pure.shape[0], space.now
    p0 = space.y[0]
    for i in range(space.y.shape[0]):
        space.y[i], space.f[i], space.pull[i] = space.new[i], space.new_f[i], space.new_pull[i]
    for k in range(CLASSES):
        place = 1 + k * (solvents + 1) + solvents
        space.shrink[k] = 0.0
        if space.mode[k] == BOILING:
            take_boiling_point(k, space, solvents)
            space.shrink[k] = np.log(space.moles[k] / space.aux[k, MOLES])
        elif space.mode[k] == DRY:
            space.y[place] = dry_temperature(t, k, space, course)
        space.moles[k] = space.aux[k, MOLES]
        now[WARMEST] = max(now[WARMEST], space.y[place])
    rates(space.y, space.loss1, space.heat1, space, course, liquid)
    accumulate(t - h, h, p0, space, course, liquid, rig)
    for k in range(CLASSES):
        space.heat0[k] = space.heat1[k]
        for a in range(space.loss0.shape[2]):
            space.loss0[0, k, a] = space.loss1[0, k, a]
            space.loss0[1, k, a] = space.loss1[1, k, a]
    note_boil_over(space, course, rig)
    note_peak(t, now)
    now[TIME] = t
    now[STEPS] += 1.0


@inlined
def note_peak(t: float, now: Array) -> None:
    """Keep the highest load: of the moments, or of the parabola through the last three."""
    load = now[LOAD]
    now[PEAK] = max(now[PEAK], load)
    if now[OLDER_TIME] >= 0.0 and now[OLD_LOAD] > now[OLDER_LOAD] and now[OLD_LOAD] >= load:
        a, b = now[OLDER_TIME] - now[OLD_TIME], t - now[OLD_TIME]
        d0, d2 = now[OLDER_LOAD] - now[OLD_LOAD], load - now[OLD_LOAD]
        bend = (d0 * b - d2 * a) / (a * b * (a - b))
        slope = (d2 * a * a - d0 * b * b) / (a * b * (a - b))
        if bend < 0.0:
            now[PEAK] = max(now[PEAK], now[OLD_LOAD] - 0.25 * slope * slope / bend)
    now[OLDER_TIME], now[OLDER_LOAD] = now[OLD_TIME], now[OLD_LOAD]
    now[OLD_TIME], now[OLD_LOAD] = t, load


@inlined
def note_gone(t: float, h: float, start: Array, space: Space, rig: Rig) -> None:
    """Keep when half and most of the solvents have become vapour, keeper apart.

    Within a step the share is taken as a straight line.
    """
    keeper = start[rig.keeper] if rig.keeper >= 0 else 0.0
    left, now = 0.0, space.now
    for k in range(CLASSES):
        if space.mode[k] != DRY:
            left += rig.share[k] * max(space.aux[k, MOLES] - keeper, 0.0)
    gone, before = 1.0 - left / (start.sum() - keeper), now[GONE]
    for place, share in ((HALF, 0.5), (MOST, MOST_SHARE)):
        if gone >= share and t < now[place]:
            now[place] = t - h * (gone - share) / max(gone - before, 1e-12)
    now[GONE] = gone


@inlined
def keep_events(h: float, space: Space) -> None:
    """Let the values at the end of a step be those at the begin of the next."""
    space.now[PAST_STEP] = h
    for i in range(EVENTS):
        space.past[i] = space.before[0, i]
        space.before[0, i], space.before[1, i] = space.after[0, i], space.after[1, i]


@inlined
def stops(space: Space, course: Course) -> bool:
    """Tell whether the end point is reached; the hold starts again when the load rises."""
    now = space.now
    if now[CLOCK] >= 0.0 and now[LOAD] > 1.001 * course.end_share * now[PEAK]:
        now[CLOCK] = -1.0
    held = now[CLOCK] >= 0.0 and now[TIME] >= now[CLOCK] + course.hold - 1e-9
    return held or now[AT_VOLUME] > 0.0


@inlined
def is_false_end(space: Space, course: Course, liquid: Liquid, rig: Rig) -> bool:
    """Whether a vessel still holds solvent when the run stops.

    Some solvent is allowed in a keeper: how much before somebody calls it not done is uncertain.
    """
    solvents = liquid.pure.shape[0]
    for k in range(CLASSES):
        if space.mode[k] == DRY or space.mode[k] == TIP:
            continue
        volume = contents(space.y, k, course, liquid, rig)[1] - course.hold_up
        allowed = LEFT_SHARE * course.fill
        if rig.keeper >= 0:
            keeper = (space.y[1 + k * (solvents + 1) + rig.keeper]
                      * liquid.pure[rig.keeper, MOLAR_VOLUME])
            allowed += (1.0 + course.left_in_keeper) * keeper
        if volume > allowed:
            return True
    return False


@kernel
def write_row(row: Array, space: Space, course: Course, liquid: Liquid, rig: Rig) -> None:
    """Fill one line of a trace."""
    solvents, analytes = liquid.pure.shape[0], liquid.traces.shape[0]
    y, highest = space.y, space.now[INDEX]
    space.now[INDEX] = 0.0
    note_boil_over(space, course, rig)
    row[0], row[1], row[2], row[3] = space.now[TIME], y[0], space.now[LOAD], space.now[INDEX]
    space.now[INDEX] = max(highest, space.now[INDEX])
    row[4] = schedule(
        space.now[TIME], piece_of(space.now[TIME], course), course, rig)[0]
    width = ROW_CLASS + solvents + 2 * analytes
    tail = 1 + CLASSES * (solvents + 1)
    for k in range(CLASSES):
        r = ROW_HEAD + k * width
        base = 1 + k * (solvents + 1)
        moles, volume, _, _ = contents(y, k, course, liquid, rig)
        row[r] = y[base + solvents]
        row[r + 1] = min(volume, course.hold_up) if space.mode[k] == DRY else volume
        row[r + 2] = space.mode[k]
        for i in range(3):
            row[r + 3 + i] = y[tail + 3 * k + i]
        row[r + 6] = space.dose[k]
        for j in range(solvents):
            row[r + ROW_CLASS + j] = moles if solvents == 1 else y[base + j]
        for a in range(analytes):
            row[r + ROW_CLASS + solvents + a] = space.exponent[k, a]
            row[r + ROW_CLASS + solvents + analytes + a] = space.film[k, a]


@kernel
def run(start: Array, tolerance: float, rows: Array, space: Space, course: Course,
        liquid: Liquid, rig: Rig) -> int:
    """Simulate one batch.

    Parameters
    ----------
    start : [S] mol of each solvent in a vessel
    tolerance : relative, of a step
    rows : [M, W] trace to fill, [0, 0] for none; where an event lets the load jump, one row
        before and one after it
    space : working memory, which holds the result: ``now``, ``exponent``, ``film``, ``dose``,
        ``dry``, ``y`` and ``mode``
    course, liquid, rig : the run

    Returns
    -------
    number of rows written
    """
    solvents, now = liquid.pure.shape[0], space.now
    begin(start, space, course, liquid)
    fresh, written = True, 0
    while now[STEPS] < MOST_STEPS:
        if fresh:
            ahead = now[LOAD]
            look_around(space, course, liquid, rig)
            if written > 0 and abs(now[LOAD] - ahead) <= JUMP * now[PEAK]:
                written -= 1  # nothing jumped: one row is enough
            if written < rows.shape[0]:
                write_row(rows[written], space, course, liquid, rig)
                written += 1
            fresh = False
        if stops(space, course):
            now[STOPPED] = 1.0
            break
        if now[TIME] >= rig.max_time - 1e-9:
            break
        corner = next_corner(space, course, rig)
        h = make_step(corner, tolerance, space, course, liquid, rig)
        landed = now[TIME] + h >= corner - 1e-6
        take_over(corner if landed else now[TIME] + h, h, space, course, liquid, rig)
        note_gone(now[TIME], h, start, space, rig)
        if written < rows.shape[0]:
            write_row(rows[written], space, course, liquid, rig)
            written += 1
        happened = turn(now[TIME], space.after, True, space, course, solvents)
        if settle(space, course, liquid, rig) or happened or landed:
            fresh = True
        else:
            keep_events(h, space)
    if now[STOPPED] > 0.0 and now[AT_VOLUME] == 0.0:
        now[FALSE_END] = 1.0 if is_false_end(space, course, liquid, rig) else 0.0
    now[THROUGH] = 0.0 if condenses(course.end_pressure, space, course) else 1.0
    return written
