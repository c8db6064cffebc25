"""The working memory of one compiled run, and the names of its columns.

======== ======================================================== ==============
field    meaning                                                  shape
======== ======================================================== ==============
y        state: pressure (Pa), then for each class the moles of   1 + 3 (S + 1)
         its S solvents and its temperature (K); in a trace also  (+ 9)
         heat (J), vapour (mol) and enthalpy (J) so far
f, pull  its time derivative, and that one's derivative with      as y
         respect to dP/dt
new ...  the same at the end of a step; its error; its stages     as y, [4, y]
aux      what the slopes know of a class, by the columns below    [3, COLUMNS]
vapour   mole fractions of the vapour of boiling classes          [3, S]
loss0/1  losses with the vapour and by diffusion at both ends     [2, 3, A]
heat0/1  thermal rate at both ends                                [3]
events   values and slopes at both ends; values before            [2, E], [E]
cold     breakthrough pressure (Pa), enthalpy (J/mol) of vapour   [2]
mode     HEATING ... TIP                                          [3]
dry      time (s) and temperature (K) of falling dry              [3, 2]
now      time, clock of the hold, load, peak and so on            [NOW]
======== ======================================================== ==============

With one solvent the moles in the state are replaced by u = (N/N0 + floor)^q, q = 1 - area
exponent, in which the approach to dryness is nearly linear (the floor stands for the rim
that stays warm).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.compilation import released
from models.kernel_data import CLASSES, Modes
from models.system import Array

HEATING, BOILING, STILL, DRY, FROZEN, TIP = range(6)

(TEMPERATURE, SUPPLY, FLASH, FLOW, VOLUME, ENTHALPY, MOLES, OVER, SURFACE, GLASS) = range(10)
COLUMNS = 10

START, EMPTY, LEAVE, REJOIN, QUIET, REACHED, TIPPED, ICE = 0, 3, 6, 7, 8, 9, 10, 13
EVENTS = 16

(TIME, CLOCK, LOAD, MARGIN, INDEX, PEAK, WARMEST, FREE_STEP, ON, FROZE, AT_VOLUME, OLDER_TIME,
 OLDER_LOAD, OLD_TIME, OLD_LOAD, PAST_STEP, STEPS, STOPPED, FALSE_END, THROUGH, PIECE,
 GONE, BOILED, HALF, MOST) = range(25)
NOW = 25


class Course(NamedTuple):
    """One run: what is set and the natural values of the parameters, SI units.

    ``trap_pressure`` is the saturation pressure of all that the condenser holds in the end.
    """

    set_temperature: float
    ramp_rate: float
    end_pressure: float
    pull_to: float
    hold: float
    end_volume: float
    delay: float
    ramp_begin: float
    ramp_end: float
    u_slowest: float
    u_slower: float
    u_faster: float
    exponent: float
    power: float
    floor: float
    fill: float
    fill_wet: float
    glass_area: float
    moles: float
    hold_up: float
    dry_level: float
    duty: float
    film_transport: float
    entrainment: float
    warming: float
    end_share: float
    boil_over: float
    ends_through: float
    trap_pressure: float
    left_in_keeper: float


class Space(NamedTuple):
    """Arrays that a run works in; see the table at the top of the module."""

    y: Array
    f: Array
    pull: Array
    new: Array
    new_f: Array
    new_pull: Array
    error: Array
    stages: Array
    aux: Array
    vapour: Array
    scratch: Array
    work: Array
    loss0: Array
    loss1: Array
    heat0: Array
    heat1: Array
    moles: Array
    shrink: Array
    before: Array
    after: Array
    past: Array
    trace_pressure: Array
    cold: Array
    mode: Modes
    dry: Array
    now: Array
    exponent: Array
    film: Array
    dose: Array


@released
def make_space(solvents: int, analytes: int, recording: bool) -> Space:
    """Working memory for runs with that many solvents and analytes."""
    size = 1 + CLASSES * (solvents + 1) + (3 * CLASSES if recording else 0)
    return Space(
        np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size),
        np.zeros(size), np.zeros(size), np.zeros((4, size)), np.zeros((CLASSES, COLUMNS)),
        np.zeros((CLASSES, solvents)), np.zeros((6, solvents)),
        np.zeros((3, max(solvents, 2), max(solvents, 2))), np.zeros((2, CLASSES, analytes)),
        np.zeros((2, CLASSES, analytes)), np.zeros(CLASSES), np.zeros(CLASSES),
        np.zeros(CLASSES), np.zeros(CLASSES), np.zeros((2, EVENTS)), np.zeros((2, EVENTS)),
        np.zeros(EVENTS), np.zeros(analytes), np.zeros(2), np.zeros(CLASSES, dtype=np.int64),
        np.zeros((CLASSES, 2)), np.zeros(NOW), np.zeros((CLASSES, analytes)),
        np.zeros((CLASSES, analytes)), np.zeros(CLASSES),
    )
