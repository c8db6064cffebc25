"""Compiled rates of change of one batch: energy, vapour and pressure balances.

Each vessel class boils at the bubble point of its own composition at the common pressure:

    ndot (H + C D/N) = UA (T_w - T) - C (dT/dP) dP/dt,   D = dT/ds along x + s (x - y)

(energy balance of a boiling liquid, closed form; the first term on the right is the heat
through the wall, the second the flash when the pressure falls). The chamber holds vapour:

    G dP/dt = sum(ndot) - condensed - pumped,            G = V_chamber/(R T_gas)

Condenser and pump share the vapour as they could take it; the pump carries off gas saturated
with vapour at the condenser temperature. The pressure follows its schedule while both can
take what that makes and floats where they cannot; it never falls faster than the pump empties
the chamber.

A state vector holds the pressure, then for each class the moles of its S solvents and its
temperature, then (in a trace) heat, vapour and vapour enthalpy so far. With one solvent the
moles are replaced by u = (N/N0)^q, q = 1 - area exponent, in which the approach to dryness
is nearly linear.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.compilation import inlined, kernel
from models.condenser import duty_share
from models.film import SURFACE_SHAPE, diffusion_velocity, transfer_velocity
from models.kernel_data import (
    CLASSES,
    H_COLD,
    HEAT_CAPACITY,
    KINETIC,
    MOLAR_VOLUME,
    P_COLD,
    Modes,
    Rig,
)
from models.kernel_liquid import (
    boiling_point,
    bubble_slopes,
    partial_pressures,
    vaporisation_enthalpy,
)
from models.quantities import ATMOSPHERE, GAS_CONSTANT
from models.system import Array

HEATING, BOILING, STILL, DRY, FROZEN, TIP = 0, 1, 2, 3, 4, 5
(TEMPERATURE, SUPPLY, FLASH, FLOW, VOLUME, ENTHALPY, CONDUCTANCE, MOLES, OVER, SURFACE) = range(10)
COLUMNS = 10
LEAST_POWER = 0.03  # of the state variable u, where the area exponent reaches 1


class Course(NamedTuple):
    """One run: what is set and the natural values of the parameters, SI units."""

    set_temperature: float
    ramp_rate: float
    end_pressure: float
    pull_to: float
    hold: float
    end_volume: float
    delay: float
    ramp_begin: float
    ramp_end: float
    u_slow: float
    u_middle: float
    u_fast: float
    exponent: float
    power: float
    fill: float
    fill_wet: float
    moles: float
    hold_up: float
    dry_level: float
    duty: float
    film_transport: float
    entrainment: float
    warming: float
    end_share: float
    boil_over: float


@inlined
def schedule(t: float, course: Course, rig: Rig) -> tuple[float, float]:
    """Pressure (Pa) and its slope (Pa/s) that the controller wants at time t (s)."""
    if t < course.delay:
        return ATMOSPHERE, 0.0
    if t < course.ramp_begin:
        p = ATMOSPHERE * np.exp(-rig.pump_rate * (t - course.delay))
        return p, -rig.pump_rate * p
    if t < course.ramp_end:
        return course.pull_to - course.ramp_rate * (t - course.ramp_begin), -course.ramp_rate
    return course.end_pressure, 0.0


@inlined
def contents(
    y: Array, k: int, course: Course, pure: Array, rig: Rig
) -> tuple[float, float, float, float]:
    """Moles, volume (m3), heat capacity (J/K) and wetted share of the full area of a class."""
    solvents = pure.shape[0]
    base = 1 + k * (solvents + 1)
    if solvents == 1:
        u = max(y[base], 1e-12)
        ln_u = np.log(u)
        shrink = np.exp(course.exponent / course.power * ln_u)
        moles = course.moles
        if course.power > LEAST_POWER:
            moles *= u * shrink  # 1/q = 1 + m/q, as q = 1 - m
        else:
            moles *= np.exp(ln_u / course.power)
        wet = course.fill_wet * shrink
        return moles, moles * pure[0, MOLAR_VOLUME], moles * pure[0, HEAT_CAPACITY], wet
    moles, volume, capacity = 0.0, 0.0, 0.0
    for j in range(solvents):
        n = max(y[base + j], 0.0)
        moles += n
        volume += n * pure[j, MOLAR_VOLUME]
        capacity += n * pure[j, HEAT_CAPACITY]
    return moles, volume, capacity, (volume / rig.capacity) ** course.exponent


@inlined
def keeper_flux(x: Array, temperature: float, p: float, volume: float, course: Course,
                pure: Array, pair: Array, rig: Rig, scratch: Array, work: Array) -> float:
    """Moles per second by which still liquid shrinks as its keeper diffuses away."""
    keeper = rig.keeper
    if keeper < 0 or x[keeper] <= 1e-12:
        return 0.0
    partial_pressures(x, temperature, pure, pair, rig.ideal, scratch[1], scratch[0], work)
    velocity = course.film_transport * transfer_velocity(
        diffusion_velocity(temperature, p), pure[keeper, KINETIC], temperature)
    surface = SURFACE_SHAPE * volume ** (2.0 / 3.0)
    rate = velocity * surface * scratch[1, keeper] / (GAS_CONSTANT * temperature)
    return rate / x[keeper]  # type: ignore[no-any-return]


@kernel
def slopes(
    t: float, y: Array, mode: Modes, on: bool, course: Course, pure: Array, pair: Array,
    table: Array, rig: Rig, f: Array, pull: Array, aux: Array, vapour: Array, cold: Array,
    scratch: Array, work: Array,
) -> tuple[float, float]:
    """Write the time derivatives of the state into ``f``.

    Parameters
    ----------
    t : s
    y : state; its pressure is set to the schedule's while ``on``
    mode : [3] of HEATING ... TIP
    on : whether the pressure follows the schedule
    f, pull : as y; derivative in time, and its derivative with respect to dP/dt
    aux : [3, COLUMNS], filled
    vapour : [3, S], filled with vapour mole fractions of boiling classes
    cold : [2] breakthrough pressure (Pa) and enthalpy (J/mol) of the last vapour made
    scratch, work : [4, S], [3, S, S]

    Returns
    -------
    Condenser load (W), and by how much the schedule is above what the pressure can do, over
    the pump's rate: negative where the schedule cannot be followed.
    """
    solvents = pure.shape[0]
    wanted, wanted_slope = schedule(t, course, rig)
    if on:
        y[0] = wanted
    p = y[0]
    gap = p / (p + rig.gap_pressure)
    single_t, single_slope, enthalpy = 0.0, 0.0, 0.0
    if solvents == 1:
        single_t, single_slope = boiling_point(np.log(p), table, rig)
        enthalpy = vaporisation_enthalpy(pure, 0, single_t)
    f[:] = 0.0
    pull[:] = 0.0
    supply, inertia = 0.0, rig.gas_moles
    cold_p, cold_h = 0.0, 0.0
    x = scratch[3]
    tail = 1 + CLASSES * (solvents + 1)
    for k in range(CLASSES):
        aux[k, SUPPLY] = 0.0
        aux[k, FLASH] = 0.0
        aux[k, FLOW] = 0.0
        if mode[k] >= DRY:
            continue
        base = 1 + k * (solvents + 1)
        moles, volume, capacity, wet = contents(y, k, course, pure, rig)
        u = course.u_slow if k == 0 else (course.u_middle if k == 1 else course.u_fast)
        ua = u * gap * (rig.full_area * wet + rig.rim_area)
        aux[k, CONDUCTANCE] = ua
        aux[k, MOLES] = moles
        aux[k, VOLUME] = volume
        aux[k, OVER] = 0.0
        if mode[k] == BOILING and solvents == 1:
            temperature = single_t
            by_pressure, drift = single_slope / p, 0.0
            vapour[k, 0] = 1.0
        else:
            temperature = y[base + solvents]
            by_pressure, drift = 0.0, 0.0
        aux[k, TEMPERATURE] = temperature
        heat = ua * (course.set_temperature - temperature)
        if mode[k] == HEATING:
            f[base + solvents] = heat / capacity
        elif mode[k] == STILL:
            if solvents > 1:
                for j in range(solvents):
                    x[j] = max(y[base + j], 0.0) / moles
                flux = keeper_flux(x, temperature, p, volume, course, pure, pair, rig,
                                   scratch, work)
                for j in range(solvents):
                    f[base + j] = -x[j] * flux
            heat = 0.0
        else:
            if solvents > 1:
                for j in range(solvents):
                    x[j] = max(y[base + j], 0.0) / moles
                ln_p, by_t, by_x = bubble_slopes(
                    x, temperature, pure, pair, rig.ideal, vapour[k], scratch, work)
                aux[k, OVER] = (ln_p - np.log(p)) / by_t
                by_pressure = 1.0 / (by_t * p)
                drift = max(-by_x / by_t, 0.0) / moles
                enthalpy = 0.0
                for j in range(solvents):
                    enthalpy += vapour[k, j] * vaporisation_enthalpy(pure, j, temperature)
            need = enthalpy + capacity * drift
            aux[k, ENTHALPY] = enthalpy
            aux[k, SUPPLY] = heat / need
            aux[k, FLASH] = capacity * by_pressure / need
            pull[base + solvents] = by_pressure
            f[base + solvents] = drift
            supply += rig.per_class * aux[k, SUPPLY]
            inertia += rig.per_class * aux[k, FLASH]
            for j in range(solvents):
                cold_p += aux[k, SUPPLY] * vapour[k, j] * pure[j, P_COLD]
                cold_h += aux[k, SUPPLY] * vapour[k, j] * pure[j, H_COLD]
        if y.shape[0] > tail:
            f[tail + 3 * k] = heat
    if supply > 0.0:
        share = rig.per_class / supply
        cold[0] = cold_p * share
        cold[1] = cold_h * share
    duty = course.duty * rig.power * duty_share(p, cold[0], rig.t_cold, cold[1])
    mean_enthalpy = cold[1]
    pumped = rig.pump_moles * min(p, cold[0])
    floating = (supply - duty / mean_enthalpy - pumped) / inertia
    if p >= ATMOSPHERE:
        floating = min(floating, 0.0)
    fastest = -rig.pump_rate * p
    limit = max(floating, fastest)
    slope = wanted_slope if on else limit
    f[0] = slope
    pull[0] = 1.0
    made = finish_slopes(y, mode, slope, course, pure, rig, f, pull, aux, vapour)
    share = duty / (duty + pumped * mean_enthalpy)
    return max(made, 0.0) * share, (wanted_slope - limit) / (-fastest)


@inlined
def finish_slopes(
    y: Array, mode: Modes, slope: float, course: Course, pure: Array, rig: Rig,
    f: Array, pull: Array, aux: Array, vapour: Array,
) -> float:
    """Vapour flows of boiling classes once dP/dt is known; gives the heat they carry (W)."""
    solvents = pure.shape[0]
    tail = 1 + CLASSES * (solvents + 1)
    load = 0.0
    for k in range(CLASSES):
        if mode[k] != BOILING:
            continue
        base = 1 + k * (solvents + 1)
        flash = aux[k, FLASH]
        flow = aux[k, SUPPLY] - flash * slope
        aux[k, FLOW] = flow
        load += rig.per_class * flow * aux[k, ENTHALPY]
        if solvents == 1:
            u = max(y[base], 1e-12)
            factor = course.power * u / aux[k, MOLES]
            f[base] = -factor * flow
            pull[base] = factor * flash
            f[base + 1] = pull[base + 1] * slope
        else:
            drift = f[base + solvents]
            for j in range(solvents):
                f[base + j] = -vapour[k, j] * flow
                pull[base + j] = vapour[k, j] * flash
            f[base + solvents] = pull[base + solvents] * slope + drift * flow
            pull[base + solvents] -= drift * flash
        if y.shape[0] > tail:
            content = aux[k, ENTHALPY]
            for j in range(solvents):
                content += vapour[k, j] * pure[j, HEAT_CAPACITY] * aux[k, TEMPERATURE]
            f[tail + 3 * k + 1] = flow
            f[tail + 3 * k + 2] = flow * content
            pull[tail + 3 * k + 1] = -flash
            pull[tail + 3 * k + 2] = -flash * content
    return load
