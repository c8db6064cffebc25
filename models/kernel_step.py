"""One integration step of a batch, with an error estimate.

While the pressure follows its schedule the explicit pair of Bogacki & Shampine (1989, Appl.
Math. Lett. 2:321, order 3(2)) is used. While it floats, the balance between vapour made and
condensed makes it stiff in this one variable: ROS34PW2 (Rang & Angermann 2005, BIT 45:761,
order 3(2), L-stable, a W-method, so that the Jacobian may be approximate) with the Jacobian
in the pressure only. A test checks the order conditions of both.
"""

from __future__ import annotations

import numpy as np

from models.compilation import kernel
from models.kernel_data import CLASSES, Modes, Rig
from models.kernel_slopes import BOILING, DRY, HEATING, Course, slopes
from models.system import Array

EXPLICIT_A = np.array([
    [0.0, 0.0, 0.0, 0.0],
    [1 / 2, 0.0, 0.0, 0.0],
    [0.0, 3 / 4, 0.0, 0.0],
    [2 / 9, 1 / 3, 4 / 9, 0.0],
])
EXPLICIT_B = np.array([2 / 9, 1 / 3, 4 / 9, 0.0])
EXPLICIT_E = EXPLICIT_B - np.array([7 / 24, 1 / 4, 1 / 3, 1 / 8])
IMPLICIT_D = 4.3586652150845900e-1
IMPLICIT_A = np.array([
    [0.0, 0.0, 0.0, 0.0],
    [8.7173304301691801e-1, 0.0, 0.0, 0.0],
    [8.4457060015369423e-1, -1.1299064236484185e-1, 0.0, 0.0],
    [0.0, 0.0, 1.0, 0.0],
])
IMPLICIT_G = np.array([
    [0.0, 0.0, 0.0, 0.0],
    [-8.7173304301691801e-1, 0.0, 0.0, 0.0],
    [-9.0338057013044082e-1, 5.4180672388095326e-2, 0.0, 0.0],
    [2.4212380706095346e-1, -1.2232505839045147, 5.4526025533510214e-1, 0.0],
])
IMPLICIT_B = np.array([
    2.4212380706095346e-1, -1.2232505839045147, 1.5452602553351020, 4.3586652150845900e-1,
])
IMPLICIT_E = IMPLICIT_B - np.array([
    3.7810903145819369e-1, -9.6042292212423178e-2, 0.5, 2.1793326075422950e-1,
])
TEMPERATURE_SCALE = 20.0  # K, an error of tolerance times this is accepted


@kernel
def pressure_slope_slope(
    t: float, y: Array, mode: Modes, slope: float, course: Course, pure: Array, pair: Array,
    table: Array, rig: Rig, f: Array, pull: Array, aux: Array, vapour: Array, cold: Array,
    scratch: Array, work: Array,
) -> float:
    """Derivative (1/s) of a floating dP/dt in the pressure; never above zero."""
    p = y[0]
    step = 1e-4 * p
    y[0] = p + step
    slopes(t, y, mode, False, course, pure, pair, table, rig, f, pull, aux, vapour, cold, scratch,
           work)
    y[0] = p
    return min((f[0] - slope) / step, 0.0)  # type: ignore[no-any-return]


@kernel
def error_ratio(
    error: Array, y: Array, mode: Modes, on: bool, course: Course, solvents: int,
    tolerance: float,
) -> float:
    """Largest estimated error of a step over what is accepted."""
    ratio = 0.0 if on else abs(error[0]) / y[0]
    for k in range(CLASSES):
        base = 1 + k * (solvents + 1)
        if mode[k] >= DRY:
            continue
        if solvents > 1 or mode[k] == HEATING:
            ratio = max(ratio, abs(error[base + solvents]) / TEMPERATURE_SCALE)
        if solvents == 1:
            if mode[k] == BOILING:
                ratio = max(ratio, abs(error[base]))
        else:
            moles = 1e-4 * course.moles
            for j in range(solvents):
                moles += max(y[base + j], 0.0)
            for j in range(solvents):
                ratio = max(ratio, abs(error[base + j]) / moles)
    return ratio / tolerance


@kernel
def advance(
    t: float, h: float, y: Array, mode: Modes, on: bool, course: Course, pure: Array,
    pair: Array, table: Array, rig: Rig, f: Array, pull: Array, jacobian: float, new: Array,
    stage: Array, ks: Array, error: Array, sf: Array, spull: Array, aux: Array, vapour: Array,
    cold: Array, scratch: Array, work: Array,
) -> tuple[float, float]:
    """Write the state after a step of h (s) into ``new`` and its error into ``error``.

    Parameters
    ----------
    t, h : s
    y, f, pull : state and slopes at t
    jacobian : 1/s, from :func:`pressure_slope_slope`; 0 while on schedule
    stage, ks : scratch as y and [4, len(y)]
    sf, spull : filled with the slopes at t + h; so are ``aux`` and ``vapour``

    Returns
    -------
    load and margin of :func:`models.kernel_slopes.slopes` at t + h
    """
    size = y.shape[0]
    ends = 0.0, 0.0
    a = EXPLICIT_A if on else IMPLICIT_A
    b = EXPLICIT_B if on else IMPLICIT_B
    e = EXPLICIT_E if on else IMPLICIT_E
    damping = 1.0 - h * IMPLICIT_D * jacobian
    for s in range(4):
        if s > 0:
            when = 0.0
            for r in range(s):
                when += a[s, r]
            for i in range(size):
                value = y[i]
                for r in range(s):
                    value += a[s, r] * ks[r, i]
                stage[i] = value
            stage[0] = max(stage[0], 0.01 * y[0])
            ends = slopes(t + when * h, stage, mode, on, course, pure, pair, table, rig, sf,
                          spull, aux, vapour, cold, scratch, work)
        else:
            sf[:] = f
        if on:
            for i in range(size):
                ks[s, i] = h * sf[i]
        else:
            carried = 0.0
            for r in range(s):
                carried += IMPLICIT_G[s, r] * ks[r, 0]
            ks[s, 0] = (h * sf[0] + h * jacobian * carried) / damping
            extra = ks[s, 0] - h * sf[0]
            for i in range(1, size):
                ks[s, i] = h * sf[i] + pull[i] * extra
    for i in range(size):
        change, off = 0.0, 0.0
        for s in range(4):
            change += b[s] * ks[s, i]
            off += e[s] * ks[s, i]
        new[i] = y[i] + change
        error[i] = off
    if on:  # the last stage of the explicit pair is the new state
        new[0] = stage[0]
        return ends
    return slopes(t + h, new, mode, on, course, pure, pair, table, rig, sf, spull, aux, vapour,
                  cold, scratch, work)
