"""One integration step of a batch, with an error estimate.

While the pressure follows its schedule the explicit pair of Bogacki & Shampine (1989, Appl.
Math. Lett. 2:321, order 3(2)) is used. While it floats, the balance between vapour made and
condensed makes it stiff in this one variable: ROS34PW2 (Rang & Angermann 2005, BIT 45:761,
order 3(2), L-stable, a W-method, so that the Jacobian may be approximate) with the Jacobian
in the pressure only. A test checks the order conditions of both.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined
from models.kernel_data import CLASSES, Liquid, Rig
from models.kernel_slopes import LEAST_SHARE, slopes
from models.kernel_space import BOILING, DRY, HEATING, ON, OVER, Course, Space

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
MOST_OVER = 0.25  # K between a boiling liquid and its boiling point, at the end of a step
EMPTIED = 1e3  # error ratio of a step after which nothing is left
RELATIVE = 0.03  # what counts of the relative error of the moles left


@inlined
def stiffness(t: float, space: Space, course: Course, liquid: Liquid, rig: Rig) -> float:
    """Derivative (1/s) of a floating dP/dt in the pressure; never above zero."""
    y, slope = space.y, space.f[0]
    p = y[0]
    step = 1e-4 * p
    y[0] = p + step
    slopes(t, y, space.new_f, space.new_pull, space, course, liquid, rig)
    y[0] = p
    return min((space.new_f[0] - slope) / step, 0.0)


@inlined
def larger(a: float, b: float) -> float:
    """The larger of two numbers; not a number where either is none."""
    return a if a >= b or a != a else b


@inlined
def error_ratio(space: Space, course: Course, solvents: int, tolerance: float) -> float:
    """Largest estimated error of the step over what is accepted; not a number if one is none.

    A mixture may also be no further from its boiling point than MOST_OVER: as its last volatile
    part goes, a long step could leave it as hot as what remains would have to be to boil.
    """
    error, new = space.error, space.new
    ratio, over = 0.0 if space.now[ON] > 0.0 else abs(error[0]) / new[0], 0.0
    for k in range(CLASSES):
        base = 1 + k * (solvents + 1)
        if space.mode[k] >= DRY:
            continue
        if solvents > 1 or space.mode[k] == HEATING:
            ratio = larger(ratio, abs(error[base + solvents]) / TEMPERATURE_SCALE)
        if solvents > 1:
            over = larger(over, abs(space.aux[k, OVER]))
            moles = 0.0
            for j in range(solvents):
                moles += max(new[base + j], 0.0) + 0.0 * new[base + j]
            if not moles > 0.0:  # never emptied in one step: a vessel falls dry on the way
                return EMPTIED
            moles += 1e-4 * course.moles
            for j in range(solvents):
                ratio = larger(ratio, abs(error[base + j]) / moles)
        elif space.mode[k] == BOILING:
            off, level = abs(error[base]), max(new[base], 0.5 * course.dry_level)
            share = np.exp(np.log(level) / course.power)
            left = max(share - course.floor, LEAST_SHARE)
            off *= max(1.0, RELATIVE * share / (course.power * level * left))
            ratio = larger(ratio, off)
    return larger(ratio / tolerance, over / MOST_OVER)


@inlined
def advance(t: float, h: float, jacobian: float, space: Space, course: Course, liquid: Liquid,
            rig: Rig) -> None:
    """Write the state after a step of h (s) into ``new``, its error into ``error``.

    Parameters
    ----------
    t, h : s
    jacobian : 1/s, of :func:`stiffness`; 0 while on schedule
    space : ``y``, ``f``, ``pull`` at t; also fills ``new_f``, ``new_pull`` and what
        :func:`models.kernel_slopes.slopes` fills, at t + h
    """
    y, f, new, ks = space.y, space.new_f, space.new, space.stages
    size = y.shape[0]
    on = space.now[ON] > 0.0
    a = EXPLICIT_A if on else IMPLICIT_A
    b = EXPLICIT_B if on else IMPLICIT_B
    e = EXPLICIT_E if on else IMPLICIT_E
    damping = 1.0 - h * IMPLICIT_D * jacobian
    for i in range(size):
        f[i] = space.f[i]
    for s in range(4 if on else 5):  # the last stage of the explicit pair is the new state
        if s > 0:
            when = 0.0
            for r in range(min(s, 3)):
                when += a[s, r] if s < 4 else 0.0
            for i in range(size):
                value = y[i]
                for r in range(s):
                    value += (a[s, r] if s < 4 else b[r]) * ks[r, i]
                new[i] = value
            new[0] = max(new[0], 0.01 * y[0])
            slopes(t + (when if s < 4 else 1.0) * h, new, f, space.new_pull, space, course,
                   liquid, rig)
        if s == 4:
            break
        if on:
            for i in range(size):
                ks[s, i] = h * f[i]
            continue
        carried = 0.0
        for r in range(s):
            carried += IMPLICIT_G[s, r] * ks[r, 0]
        ks[s, 0] = (h * f[0] + h * jacobian * carried) / damping
        extra = ks[s, 0] - h * f[0]
        for i in range(1, size):
            ks[s, i] = h * f[i] + space.pull[i] * extra
    for i in range(size):
        off = 0.0
        for s in range(4):
            off += e[s] * ks[s, i]
        space.error[i] = off
