"""Start of boiling, end point and stop of a run, found in what its instruments wrote down.

The end point follows the rule of the evaporator itself: the condenser load, here the warming of
the coolant, has fallen to a share of its peak, after the peak, at end pressure, and stays there
(common practice, no source). A fall that is followed by another rise is a lull between two
solvents or a frozen sample and is no end. Noise is judged by the median absolute deviation from
a running median (Rousseeuw & Croux 1993, J. Am. Stat. Assoc. 88:1273; from memory), so that
single wild readings decide nothing. What a log does not show is not guessed.

======== ====================================================== =====
symbol   meaning                                                unit
======== ====================================================== =====
t        time from lid-close                                    s
p        pressure of the chamber                                Pa
rise     warming of the coolant, out minus in, without noise    K
noise    standard deviation of one reading                      K
base     warming while the condenser does nothing, over time    K
share    (rise - base) over its highest value
======== ====================================================== =====
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.ndimage import median_filter

from models.quantities import ATMOSPHERE, celsius, mbar
from models.run_log import LogMarks, Mark, RunLog, cannot_tell
from models.system import Array

ROOM_PRESSURE = 7e4  # Pa; a log that begins below it began under vacuum
LEFT_ROOM = 0.97  # share of the room's pressure below which the chamber is being evacuated
OPEN = 0.9  # share of the room's pressure above which a chamber is open
VENTED = 0.5  # share of the way back to room pressure that tells venting from a leak
HELD_WITHIN = 0.10  # relative; a held pressure stays this near its median
SMOOTHED_S = 30.0  # s over which the running median is taken
LEAST_SMOOTHED = 5  # readings
CLEAR = 20.0  # times the noise that the highest load must reach to tell anything
SEEN = 4.0  # times the noise that a load must reach to be one
ONSET_SHARE = 0.05  # of the highest load: boiling has begun
SURE_SHARE = 0.20  # of the highest load: it has surely begun
RETURNED = 0.10  # of the highest load: how near the level at the end is to that of the start
MOST_SHARE = 0.9  # of the heat
ANSWERS_S = 30.0  # s by which a coolant may answer late (common practice, no source)
LEAST_BASE = 3  # readings
HELD_SHARE = 0.5  # of the end-point hold that must be seen; the coolant answers late
LONG_WAIT_S = 600.0  # s at room pressure after which the reader is asked about lid-close
FEWEST = 10  # readings

Lulls = tuple[tuple[float, float], ...]


class AsSet(NamedTuple):
    """What was set for the run: end-point rule, end pressure and wall, with what is held of them.

    SI units; ``end_share`` is the share of the highest load at which the run ends.
    """

    hold: float
    end_share: float
    end_pressure: float
    pressure_tolerance: float
    wall: float
    wall_tolerance: float


@dataclass(frozen=True, eq=False)
class Load:
    """The condenser load as the coolant shows it, as a share of its highest value.

    ``share`` [M] is above a level that may drift, ``undrifted`` [M] above that of the start.
    """

    t: Array
    share: Array
    undrifted: Array
    noise: float  # of the share
    has_start: bool  # whether the level before the run is in the log


def find_marks(log: RunLog, as_set: AsSet) -> LogMarks:
    """Moments of a run.

    Parameters
    ----------
    log : the log, from lid-close on
    as_set : what was set
    """
    known = np.isfinite(log.pressure)
    t, p = _merged(log.time[known], log.pressure[known])
    if len(t) < FEWEST:
        return _nothing(f"The log has only {len(t)} readings of the pressure.")
    if _evacuations(p) > 1:
        return _nothing(f"The log holds {_evacuations(p)} runs: give the rows of one of them.")
    evacuation, vent = _evacuation(t, p), _vent(t, p)
    over = vent.low if vent.low is not None else float(t[-1])
    calm = t <= (over - SMOOTHED_S if vent.low is not None else over)  # venting has a beginning
    held, findings = _end_pressure(t[calm], p[calm], as_set)
    load = _load(log, evacuation, over)
    if isinstance(load, str):
        boiling = fell = half = most = cannot_tell(load)
        lulls: Lulls = ()
    else:
        boiling = _boiling(load)
        fell, lulls = _fall(load, as_set.end_share)
        half, most = (_heat_gone(load, share, fell) for share in (0.5, MOST_SHARE))
    end_point = _end_point(fell, held, as_set.hold, over)
    findings += [*_wait(evacuation), *map(_lull_words, lulls), *_wall(log, boiling, over, as_set)]
    return LogMarks(evacuation, boiling, half, most, held, end_point,
                    _stop(vent, end_point, as_set.hold), lulls, tuple(findings))


def _nothing(words: str) -> LogMarks:
    none = cannot_tell(words)
    return LogMarks(none, none, none, none, none, none, none, (), ())


# -- pressure --------------------------------------------------------------------------


def _merged(t: Array, values: Array) -> tuple[Array, Array]:
    """Readings of one moment averaged, so that the time always rises."""
    moments, place, count = np.unique(t, return_inverse=True, return_counts=True)
    return moments, np.bincount(place, weights=values) / count


def _evacuations(p: Array) -> int:
    """How many times the chamber is pumped down."""
    room = float(np.median(p[:LEAST_BASE]))
    room = room if room > ROOM_PRESSURE else ATMOSPHERE
    is_open = p[(p > OPEN * room) | (p < VENTED * room)] > OPEN * room
    if not len(is_open):
        return 0
    return int((is_open[:-1] & ~is_open[1:]).sum()) + int(not is_open[0])


def _evacuation(t: Array, p: Array) -> Mark:
    room = float(np.median(p[: max(3, np.searchsorted(t, t[0] + SMOOTHED_S))]))
    if room < ROOM_PRESSURE:
        return cannot_tell("The log begins under vacuum.")
    below = np.flatnonzero(p < LEFT_ROOM * room)
    if not len(below):
        return cannot_tell("The pressure never leaves that of the room.")
    first = int(below[0])
    low = float(t[max(first - 1, 0)])
    return Mark(0.5 * (low + float(t[first])), low, float(t[first]),
                "The pressure leaves that of the room.")


def _vent(t: Array, p: Array) -> Mark:
    """When the chamber is vented after its lowest pressure."""
    lowest = int(np.argmin(p))
    level = float(np.median(p[: lowest + 1][-LEAST_SMOOTHED:]))
    back = p[0] if p[0] > ROOM_PRESSURE else ATMOSPHERE
    if not p[lowest:].max(initial=0.0) > level + VENTED * (back - level):
        return cannot_tell("The log does not show the chamber being vented.")
    way = lowest + int(np.argmax(p[lowest:] > level + VENTED * (back - level)))
    before = np.flatnonzero(p[: way + 1] <= level + 0.05 * (back - level))
    last = int(before[-1])
    first = float(t[min(last + 1, len(t) - 1)])
    return Mark(0.5 * (float(t[last]) + first), float(t[last]), first, "The chamber is vented.")


def _end_pressure(t: Array, p: Array, as_set: AsSet) -> tuple[Mark, list[str]]:
    """When the chamber is at its end pressure for good, and how far that is from what was set."""
    level = float(np.median(p[t >= t[-1] - max(2 * SMOOTHED_S, 0.05 * (t[-1] - t[0]))]))
    end_pressure, tolerance = as_set.end_pressure, as_set.pressure_tolerance
    allowed = max(HELD_WITHIN * level, tolerance)
    away = np.flatnonzero(p > level + allowed)
    last = int(away[-1]) if len(away) else -1
    if last == len(t) - 1 or len(t) - last < LEAST_SMOOTHED:
        return cannot_tell("The pressure is still falling when the log ends."), []
    findings = []
    if level > end_pressure + max(tolerance, 0.05 * end_pressure):
        findings.append(
            f"The chamber comes down to {mbar(level):.3g} mbar, not to the end pressure of "
            f"{mbar(end_pressure):.3g} mbar that was set.")
        return cannot_tell("The chamber does not reach its end pressure."), findings
    if level < end_pressure - max(tolerance, 0.05 * end_pressure):
        findings.append(
            f"The chamber is held at {mbar(level):.3g} mbar, below the end pressure of "
            f"{mbar(end_pressure):.3g} mbar that was set.")
    low = float(t[max(last, 0)])
    first = float(t[last + 1])
    surely = float(t[int(np.argmax((t >= first) & (p <= level + 0.1 * allowed)))])
    return Mark(0.5 * (low + first), low, max(first, surely),
                f"The chamber holds {mbar(level):.3g} mbar from here on."), findings


# -- condenser load --------------------------------------------------------------------


def _load(log: RunLog, evacuation: Mark, over: float) -> Load | str:
    """The load until the run is over, or why the log does not show it."""
    if log.coolant_in is None or log.coolant_out is None:
        return "Without the coolant's temperature in and out the log shows no condenser load."
    rise = log.coolant_out - log.coolant_in
    known = np.isfinite(rise)
    t, rise = _merged(log.time[known], rise[known])
    t, rise = t[t <= over], rise[t <= over]
    if len(t) < FEWEST:
        return f"The log has only {len(t)} readings of the coolant's warming."
    smooth = _smoothed(t, rise)
    noise = _noise(rise, smooth)
    before = t < evacuation.low if evacuation.low is not None else np.zeros(len(t), dtype=bool)
    end = smooth[t >= t[-1] - 2 * SMOOTHED_S]
    late = float(np.median(end))
    has_start = int(before.sum()) >= LEAST_BASE
    early = float(np.median(rise[before])) if has_start else late
    height = float((smooth - early).max())
    if height < CLEAR * noise:
        return "The coolant's warming does not stand out enough from its noise."
    is_back = abs(late - early) <= RETURNED * height
    drift = (late - early) * (t - t[0]) / (t[-1] - t[0]) if is_back else np.zeros(len(t))
    above = smooth - early - drift
    scale = float(above.max())
    return Load(t, above / scale, (above + drift) / scale, noise / scale, has_start)


def _smoothed(t: Array, values: Array) -> Array:
    step = float(np.median(np.diff(t)))
    window = int(max(LEAST_SMOOTHED, round(SMOOTHED_S / step))) | 1
    if window * step > 4 * SMOOTHED_S:  # readings too far apart for a median to keep the course
        return values
    return np.asarray(median_filter(values, size=window, mode="nearest"))


def _noise(values: Array, smooth: Array) -> float:
    """Standard deviation of one reading, not below what the last digit leaves open."""
    steps = np.diff(np.unique(values))
    digit = float(steps[steps > 1e-9].min(initial=np.inf))
    rounding = digit / np.sqrt(12.0) if np.isfinite(digit) else 0.0
    return float(max(1.4826 * np.median(np.abs(values - smooth)), rounding, 1e-6))


def _boiling(load: Load) -> Mark:
    if not load.has_start:
        return cannot_tell("The log does not hold the coolant's warming before the run.")
    threshold = max(ONSET_SHARE, SEEN * load.noise)
    sure = int(np.argmax(load.share >= max(SURE_SHARE, 2 * threshold)))
    below = np.flatnonzero(load.share[: sure + 1] < threshold)
    if not len(below):
        return cannot_tell("The condenser takes up heat from the first reading on.")
    time, later = float(load.t[below[-1] + 1]), float(load.t[sure])
    quiet = np.flatnonzero(load.share[: below[-1] + 1] < 0.5 * threshold)
    low = float(load.t[quiet[-1] if len(quiet) else below[0]])
    straight = time - (later - time) * threshold / (load.share[sure] - threshold)
    return Mark(time, max(min(low, straight) - ANSWERS_S, float(load.t[0])), time,
                "The coolant begins to warm, up to half a minute after the liquid boils.")


def _fall(load: Load, end_share: float) -> tuple[Mark, Lulls]:
    """When the load falls to its share of the peak for good, and the lulls before.

    The level at the end may be the coolant's drift or a last rest of load: the range holds both.
    """
    level = max(end_share, SEEN * load.noise)
    if not load.has_start and np.ptp(load.share[-LEAST_SMOOTHED:]) > level:
        return cannot_tell("The load has no level to return to in this log."), ()
    found = _last_fall(load, load.share, level)
    if found is None:
        return cannot_tell(
            f"The load is still {100 * load.share[-1]:.0f} % of its highest value when the log "
            "ends or the chamber is vented."), ()
    low, time, high = found
    other = _last_fall(load, load.undrifted, level) or (low, time, float(load.t[-1]))
    return Mark(time, min(low, other[0]), max(high, other[2]),
                f"The load is down to {100 * level:.0f} % of its highest value for good."
                ), _lulls(load, level)


def _last_fall(load: Load, share: Array, level: float) -> tuple[float, float, float] | None:
    """Range and moment of the last fall below a level; None when the load ends above it.

    The range begins when the load was last at twice the level, or half way to its peak where
    that is less. None too for a load that never reached the level.
    """
    above = np.flatnonzero(share >= level)
    if not len(above) or above[-1] == len(share) - 1:
        return None
    last = int(above[-1])
    surely = np.flatnonzero(share >= min(2 * level, 0.5 * (1.0 + level)))
    before = int(surely[-1]) if len(surely) else last
    gone = np.flatnonzero(share[last:] <= max(0.5 * level, 2 * load.noise)) + last
    time = float(load.t[last + 1])
    return (float(load.t[before]), time,
            max(float(load.t[gone[0] if len(gone) else -1]), time))


def _heat_gone(load: Load, share: float, fell: Mark) -> Mark:
    """When a share of all heat has gone to the condenser; it can be told once none goes there."""
    if fell.time is None:
        return cannot_tell(fell.words)
    found = []
    for above in (load.share, load.undrifted):
        middle = 0.5 * (above[1:] + above[:-1]) * np.diff(load.t)
        gone = np.concatenate([[0.0], np.cumsum(middle)])
        found.append(int(np.argmax(gone >= share * gone[-1])))
    moments, before = load.t[found], load.t[np.maximum(np.array(found) - 1, 0)]
    return Mark(float(moments[0]), float(before.min()) - ANSWERS_S, float(moments.max()),
                f"{100 * share:.0f} % of the heat has gone to the condenser, up to half a minute "
                "before the coolant shows it.")


def _lulls(load: Load, level: float) -> Lulls:
    """Stretches without load between two with one that stands out."""
    above = load.share >= level
    strong = np.flatnonzero(load.share >= 2 * level)
    found = []
    edges = np.flatnonzero(np.diff(above.astype(int)))
    for a, b in zip(edges[:-1], edges[1:], strict=True):
        lasted = load.t[b] - load.t[a + 1] >= SMOOTHED_S
        if not above[a + 1] and lasted and strong[0] < a and strong[-1] > b:
            found.append((float(load.t[a + 1]), float(load.t[b])))
    return tuple(found)


# -- the end ---------------------------------------------------------------------------


def _end_point(fell: Mark, held: Mark, hold: float, last: float) -> Mark:
    if fell.time is None:
        return fell
    if held.time is None or held.low is None or held.high is None:
        return cannot_tell(f"The load falls at {_min(fell.time)} min, but away from the end "
                           f"pressure that says nothing. {held.words}")
    assert fell.low is not None
    assert fell.high is not None
    time = max(fell.time, held.time)
    if last - time < HELD_SHARE * hold:
        return cannot_tell(
            f"The load falls at {_min(time)} min, but only {_min(last - time)} min of it are in "
            f"the log, and the end-point hold is {_min(hold)} min.")
    return Mark(time, max(fell.low, held.low), max(fell.high, held.high), fell.words)


def _stop(vent: Mark, end_point: Mark, hold: float) -> Mark:
    if vent.time is not None:
        return vent
    if end_point.time is None:
        return cannot_tell(f"{vent.words} {end_point.words}".strip())
    assert end_point.low is not None
    assert end_point.high is not None
    return Mark(end_point.time + hold, end_point.low + hold, end_point.high + hold,
                f"{vent.words} The run time is the end point and the hold of {_min(hold)} min.")


# -- findings --------------------------------------------------------------------------


def _wait(evacuation: Mark) -> list[str]:
    if evacuation.time is None or evacuation.time <= LONG_WAIT_S:
        return []
    return [f"The pressure stays at that of the room for {_min(evacuation.time)} min: if the lid "
            "was closed later than where the time begins, give the moment of lid-close."]


def _lull_words(lull: tuple[float, float]) -> str:
    return (f"The load was gone from {_min(lull[0])} to {_min(lull[1])} min and came back: a lull "
            "between two solvents or a frozen sample, not the end.")


def _wall(log: RunLog, boiling: Mark, over: float, as_set: AsSet) -> list[str]:
    """How far the wall was from what was set, once it had time to get there."""
    if log.wall_temperature is None:
        return []
    start = boiling.high if boiling.high is not None else 0.5 * over
    during = (log.time >= start) & (log.time <= over) & np.isfinite(log.wall_temperature)
    if during.sum() < FEWEST:
        return []
    found = float(np.median(log.wall_temperature[during]))
    if abs(found - as_set.wall) <= as_set.wall_tolerance:
        return []
    return [f"The wall was at {celsius(found):.1f} degC while {celsius(as_set.wall):.1f} degC was "
            "set. The fit goes on from what was set, because forecasts are made at set values."]


def _min(seconds: float) -> str:
    return f"{seconds / 60.0:.1f}"
