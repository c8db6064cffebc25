"""Compiled run of one batch from lid-close to stop: steps, events, losses.

Events end a step where they happen: a class starts to boil, falls dry, reaches the end
volume or freezes; the pressure leaves its schedule or finds it again; the condenser load
falls to its share of the peak. Each event is a function of the state that is positive before
and negative after; a step that goes too far past one is shortened by the secant rule.
"""

from __future__ import annotations

import numpy as np

from models.compilation import kernel
from models.kernel_data import CLASSES, H_COLD, MOLAR_VOLUME, P_COLD, Modes, Rig
from models.kernel_events import (
    EMPTY,
    EVENTS,
    ICE,
    LEAVE,
    QUIET,
    REACHED,
    REJOIN,
    START,
    TIPPED,
    boil_over_index,
    event_values,
)
from models.kernel_losses import accumulate, dry_temperature, rates
from models.kernel_slopes import (
    BOILING,
    COLUMNS,
    DRY,
    FLOW,
    FROZEN,
    HEATING,
    MOLES,
    OVER,
    STILL,
    TEMPERATURE,
    TIP,
    Course,
    contents,
    schedule,
    slopes,
)
from models.kernel_step import advance, error_ratio, pressure_slope_slope
from models.quantities import ATMOSPHERE, REFERENCE_TEMPERATURE
from models.system import Array

MOST_STEPS = 4000
STILL_WITHIN = 0.02  # K of the wall: liquid that does not boil any more
PRESSURE_STEP = 0.3  # relative change of the pressure allowed in a step
DRY_STEP = 0.4  # of the warming time
LEFT_SHARE = 0.05  # of the fill; a run that stops with more is called a false end
STEP_TOLERANCES = np.array(
    [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 3.0, 1e-2, 0.3, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0]
)
"""Of the events, times the tolerance of the run."""

(RUN_TIME, FINISHED, BOIL_OVER, PEAK_LOAD, PEAK_TEMPERATURE, FALSE_END, FROZE, THROUGH,
 STOPPED, STEPS) = range(10)
RESULTS = 10
ROW_HEAD, ROW_CLASS = 5, 7


@kernel
def next_corner(t: float, clock: float, course: Course, rig: Rig) -> float:
    """Time (s) of the next bend of the schedule, end of the hold or end of patience."""
    corner = rig.max_time
    if clock >= 0.0:
        corner = min(corner, clock + course.hold)
    for bend in (course.delay, course.ramp_begin, course.ramp_end):
        if bend > t + 1e-9:
            corner = min(corner, bend)
    return corner


@kernel
def longest_step(t: float, y: Array, mode: Modes, f: Array, dry: Array, course: Course,
                 solvents: int) -> float:
    """Bound (s) on the step from what changes fast apart from the error estimate."""
    h = 1e9
    wet = False
    for k in range(CLASSES):
        if mode[k] == DRY:
            wet = True
            if t - dry[k, 0] < 4.0 * course.warming:
                h = min(h, DRY_STEP * course.warming)
        elif mode[k] == BOILING:
            wet = True
            if solvents == 1 and f[1 + 2 * k] < 0.0:
                h = min(h, max((y[1 + 2 * k] - course.dry_level) / -f[1 + 2 * k] * 1.0001, 1e-3))
    if wet and f[0] != 0.0:
        h = min(h, PRESSURE_STEP * y[0] / abs(f[0]))
    return h


@kernel
def shorten(before: Array, after: Array, tolerance: float) -> float:
    """Share of the step at which the first event that it went past happens; 1 for none."""
    share = 1.0
    for i in range(EVENTS):
        allowed = STEP_TOLERANCES[i] * tolerance
        if after[i] < -allowed and before[i] > 0.0:
            share = min(share, (before[i] + 0.5 * allowed) / (before[i] - after[i]))
    return share


@kernel
def turn(values: Array, t: float, y: Array, mode: Modes, dry: Array, on: bool, moved: bool,
         solvents: int, flags: Array) -> tuple[bool, bool, bool]:
    """Let events happen: give whether any did, whether on schedule, whether the load is quiet.

    ``flags`` [2] notes ice and the end volume; ``moved`` is false right after another event,
    when the pressure cannot find its schedule again yet.
    """
    any_happened, quiet = False, False
    for k in range(CLASSES):
        if values[START + k] < 0.0:
            mode[k] = BOILING
            any_happened = True
        elif values[ICE + k] < 0.0:
            mode[k] = FROZEN
            flags[0] = 1.0
            any_happened = True
        elif values[TIPPED + k] < 0.0:
            mode[k] = TIP
            any_happened = True
        elif values[EMPTY + k] < 0.0:
            mode[k] = DRY
            dry[k, 0] = t
            dry[k, 1] = y[1 + k * (solvents + 1) + solvents]
            any_happened = True
    if values[LEAVE] < 0.0:
        on = False
        any_happened = True
    elif moved and values[REJOIN] < 0.0:
        on = True
        any_happened = True
    if values[QUIET] < 0.0:
        quiet = True
        any_happened = True
    if values[REACHED] < 0.0:
        flags[1] = 1.0
    return any_happened, on, quiet


@kernel
def settle(t: float, y: Array, mode: Modes, on: bool, course: Course, solvents: int,
           aux: Array) -> bool:
    """Stop boiling where heat no longer suffices and call liquid at the wall's heat still."""
    at_end = on and t >= course.ramp_end
    changed = False
    for k in range(CLASSES):
        place = 1 + k * (solvents + 1) + solvents
        near = abs(course.set_temperature - y[place]) < STILL_WITHIN
        if mode[k] == BOILING and aux[k, FLOW] < 0.0:
            mode[k] = HEATING
            changed = True
        elif at_end and near and (mode[k] == HEATING or (mode[k] == BOILING and solvents > 1)):
            mode[k] = STILL
            y[place] = course.set_temperature
            changed = True
    return changed


@kernel
def false_end(y: Array, mode: Modes, course: Course, pure: Array, rig: Rig) -> bool:
    """Whether the vessels still hold solvent, on average over LEFT_SHARE of the fill.

    Solvent up to the volume of the keeper is allowed: it dilutes the keeper.
    """
    solvents = pure.shape[0]
    left = 0.0
    for k in range(CLASSES):
        if mode[k] == DRY or mode[k] == TIP:
            continue
        volume = contents(y, k, course, pure, rig)[1] - course.hold_up
        keeper = 0.0
        if rig.keeper >= 0:
            keeper = y[1 + k * (solvents + 1) + rig.keeper] * pure[rig.keeper, MOLAR_VOLUME]
        left += max(volume - 2.0 * keeper, 0.0)
    return left > CLASSES * LEFT_SHARE * course.fill


@kernel
def write_row(row: Array, t: float, y: Array, mode: Modes, load: float, index: float,
              course: Course, pure: Array, rig: Rig, exponent: Array, film: Array,
              dose: Array) -> None:
    """Fill one line of a trace."""
    solvents = pure.shape[0]
    analytes = exponent.shape[1]
    row[0], row[1], row[2], row[3] = t, y[0], load, index
    row[4] = schedule(t, course, rig)[0]
    width = ROW_CLASS + solvents + 2 * analytes
    tail = 1 + CLASSES * (solvents + 1)
    for k in range(CLASSES):
        r = ROW_HEAD + k * width
        base = 1 + k * (solvents + 1)
        row[r] = y[base + solvents]
        row[r + 1] = course.hold_up if mode[k] == DRY else contents(
            y, k, course, pure, rig)[1]
        row[r + 2] = mode[k]
        row[r + 3 : r + 6] = y[tail + 3 * k : tail + 3 * k + 3]
        row[r + 6] = dose[k]
        for j in range(solvents):
            row[r + ROW_CLASS + j] = y[base + j]
        if solvents == 1:
            row[r + ROW_CLASS] = contents(y, k, course, pure, rig)[0]
        for a in range(analytes):
            row[r + ROW_CLASS + solvents + a] = exponent[k, a]
            row[r + ROW_CLASS + solvents + analytes + a] = film[k, a]


@kernel
def run(
    course: Course, start: Array, pure: Array, pair: Array, traces: Array, table: Array, rig: Rig,
    tolerance: float, exponent: Array, film: Array, dose: Array, volume: Array, dry: Array,
    result: Array, rows: Array,
) -> int:
    """Simulate one batch.

    Parameters
    ----------
    course : settings and parameters of this run
    start : [S] mol of each solvent in a vessel
    pure, pair, traces, table, rig : what is the same for all runs
    tolerance : relative, of a step
    exponent, film, dose, volume : [3, A], [3, A], [3], [3], filled
    dry : [3, 2], filled with time (s, nan while wet) and temperature of falling dry
    result : [RESULTS], filled
    rows : [M, W] trace to fill, [0, 0] for none

    Returns
    -------
    number of rows written
    """
    solvents, analytes = pure.shape[0], traces.shape[0]
    recording = rows.shape[0] > 0
    size = 1 + CLASSES * (solvents + 1) + (3 * CLASSES if recording else 0)
    vectors = np.zeros((8, size))
    y, f, pull, new = vectors[0], vectors[1], vectors[2], vectors[3]
    stage, error, sf, spull = vectors[4], vectors[5], vectors[6], vectors[7]
    ks = np.zeros((4, size))
    aux = np.zeros((CLASSES, COLUMNS))
    vapour = np.zeros((CLASSES, solvents))
    scratch, work = np.zeros((4, solvents)), np.zeros((3, solvents, solvents))
    loss = np.zeros((4, CLASSES, analytes))
    begin, begin_d, end, end_d = loss[0], loss[1], loss[2], loss[3]
    warm = np.zeros((4, CLASSES))
    begin_h, end_h, moles, shrink = warm[0], warm[1], warm[2], warm[3]
    before, after, middle = np.zeros(EVENTS), np.zeros(EVENTS), np.zeros(analytes)
    cold, flags, mode = np.zeros(2), np.zeros(2), np.zeros(CLASSES, dtype=np.int64)
    exponent[:], film[:], dose[:], result[:], dry[:] = 0.0, 0.0, 0.0, 0.0, np.nan
    y[0] = ATMOSPHERE
    main = np.argmax(start)
    cold[0], cold[1] = pure[main, P_COLD], pure[main, H_COLD]
    for k in range(CLASSES):
        base = 1 + k * (solvents + 1)
        y[base + solvents] = REFERENCE_TEMPERATURE
        if solvents == 1:
            y[base] = 1.0
        else:
            y[base : base + solvents] = start
    t, clock, h_free, peak = 0.0, -1.0, 5.0, 0.0
    on, fresh, done = True, True, False
    load, leave, index, warmest = 0.0, 0.0, 0.0, REFERENCE_TEMPERATURE
    older_t, older, old_t, old = -1.0, 0.0, -1.0, 0.0
    written, steps = 0, 0
    while steps < MOST_STEPS:
        if fresh:
            for _ in range(8):
                load, leave = slopes(t, y, mode, on, course, pure, pair, table, rig, f, pull,
                                     aux, vapour, cold, scratch, work)
                peak = max(peak, load)
                event_values(t, y, mode, on, clock, load, leave, peak, course, pure, pair, rig,
                             aux, cold, scratch, work, before)
                happened, on, quiet = turn(before, t, y, mode, dry, on, False, solvents, flags)
                if quiet:
                    clock = t
                if not happened:
                    break
            rates(t, y, mode, dry, course, traces, rig, aux, begin, begin_d, begin_h, scratch,
                  middle)
            for k in range(CLASSES):
                moles[k] = aux[k, MOLES]
            older_t, old_t = -1.0, -1.0
            fresh = False
        if recording and written < rows.shape[0]:
            write_row(rows[written], t, y, mode, load, boil_over_index(
                y, mode, course, rig, aux, 0.0), course, pure, rig, exponent, film, dose)
            written += 1
        if clock >= 0.0 and load > 1.001 * course.end_share * peak:
            clock = -1.0
        if done or flags[1] > 0.0 or (clock >= 0.0 and t >= clock + course.hold - 1e-9):
            result[STOPPED] = 1.0
            break
        if t >= rig.max_time - 1e-9:
            break
        corner = next_corner(t, clock, course, rig)
        h = min(h_free, longest_step(t, y, mode, f, dry, course, solvents))
        jacobian = 0.0
        if not on:
            jacobian = pressure_slope_slope(t, y, mode, f[0], course, pure, pair, table, rig,
                                            sf, spull, aux, vapour, cold, scratch, work)
        tries = 0
        while True:
            landed = t + h >= corner - 1e-6
            if landed:
                h = corner - t
            load, leave = advance(t, h, y, mode, on, course, pure, pair, table, rig, f, pull,
                                  jacobian, new, stage, ks, error, sf, spull, aux, vapour, cold,
                                  scratch, work)
            ratio = error_ratio(error, new, mode, on, course, solvents, tolerance)
            tries += 1
            if not ratio <= 1.0 and h > 1e-6:
                factor = 0.9 * ratio ** (-1.0 / 3.0) if ratio < 1e6 else 0.1
                h *= max(factor, 0.1)
                h_free = h
                continue
            event_values(t + h, new, mode, on, clock, load, leave, peak, course, pure, pair,
                         rig, aux, cold, scratch, work, after)
            share = shorten(before, after, tolerance)
            if share < 1.0 and tries < 40 and h > 1e-6:
                h *= max(share, 0.02)
                continue
            break
        steps += 1
        growth = 0.9 * max(ratio, 1e-3) ** (-1.0 / 3.0)
        h_free = max(h_free, h * min(growth, 4.0)) if tries > 1 or landed else h * min(growth, 4.0)
        p0 = y[0]
        t = corner if landed else t + h
        y[:] = new
        f[:] = sf
        pull[:] = spull
        for k in range(CLASSES):
            place = 1 + k * (solvents + 1) + solvents
            shrink[k] = 0.0
            if mode[k] == BOILING:
                y[place] = aux[k, TEMPERATURE] - aux[k, OVER]
                shrink[k] = np.log(moles[k] / aux[k, MOLES])
            elif mode[k] == DRY:
                y[place] = dry_temperature(t, k, dry, course)
            moles[k] = aux[k, MOLES]
            warmest = max(warmest, y[place])
        rates(t, y, mode, dry, course, traces, rig, aux, end, end_d, end_h, scratch, middle)
        accumulate(t - h, h, p0, y[0], mode, dry, course, traces, rig, shrink, begin, begin_d,
                   begin_h, end, end_d, end_h, middle, exponent, film, dose)
        begin, end = end, begin
        begin_d, end_d = end_d, begin_d
        begin_h, end_h = end_h, begin_h
        index = boil_over_index(y, mode, course, rig, aux, index)
        peak = max(peak, load)
        if older_t >= 0.0 and old > older and old >= load:
            peak = max(peak, vertex(older_t, older, old_t, old, t, load))
        older_t, older, old_t, old = old_t, old, t, load
        happened, on, quiet = turn(after, t, y, mode, dry, on, True, solvents, flags)
        if quiet:
            clock = t
        if settle(t, y, mode, on, course, solvents, aux) or happened or landed:
            fresh = True
        else:
            before[:] = after
    result[RUN_TIME], result[BOIL_OVER], result[PEAK_LOAD] = t, index, peak
    result[PEAK_TEMPERATURE], result[FROZE], result[STEPS] = warmest, flags[0], steps
    result[FALSE_END] = 0.0
    if result[STOPPED] > 0.0 and flags[1] == 0.0 and false_end(y, mode, course, pure, rig):
        result[FALSE_END] = 1.0
    result[FINISHED] = result[STOPPED] * (1.0 - result[FALSE_END])
    result[THROUGH] = 1.0 if course.end_pressure <= cold[0] else 0.0
    for k in range(CLASSES):
        volume[k] = course.hold_up if mode[k] == DRY else contents(y, k, course, pure, rig)[1]
    return written


@kernel
def vertex(t0: float, l0: float, t1: float, l1: float, t2: float, l2: float) -> float:
    """Height of the parabola through three points of which the middle one is highest."""
    a, b = t0 - t1, t2 - t1
    d0, d2 = l0 - l1, l2 - l1
    curve = (d0 * b - d2 * a) / (a * b * (a - b))
    slope = (d2 * a * a - d0 * b * b) / (a * b * (a - b))
    return l1 if curve >= 0.0 else l1 - 0.25 * slope * slope / curve
