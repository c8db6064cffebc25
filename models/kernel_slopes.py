"""Compiled rates of change of one batch: energy, vapour and pressure balances.

Each vessel class boils at the bubble point of its own composition at the common pressure:

    ndot (H + C D/N) = UA (T_w - T) - C (dT/dP) dP/dt,   D = dT/ds along x + s (x - y)

(energy balance of a boiling liquid, closed form; the first term on the right is the heat
through the wall, the second the flash when the pressure falls). C is the heat capacity of the
liquid and of the glass under what is left at the end: dry, that glass takes the warming time to
become as warm as the wall, so its heat capacity is UA times that time. Condenser and pump together
take R(P) moles a second at most; the pump carries off gas saturated with vapour at the
condenser temperature. The pressure follows its schedule while sum(ndot) stays below R and
floats where it would not:

    sum(ndot) = R(P) - G dP/dt,   G = V_chamber/(R T_gas) while it rises, 0 while it falls,

and it never falls faster than the pump empties the chamber.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined
from models.condenser import duty_share
from models.film import SURFACE_SHAPE, diffusion_velocity, transfer_velocity
from models.kernel_data import (
    CLASSES,
    H_COLD,
    HEAT_CAPACITY,
    KINETIC,
    MOLAR_VOLUME,
    P_COLD,
    Liquid,
    Rig,
)
from models.kernel_liquid import (
    boiling_point,
    bubble_slopes,
    partial_pressures,
    vaporisation_enthalpy,
)
from models.kernel_space import (
    BOILING,
    DRY,
    ENTHALPY,
    FLASH,
    FLOW,
    GLASS,
    HEATING,
    LOAD,
    MARGIN,
    MOLES,
    ON,
    OVER,
    PIECE,
    STILL,
    SUPPLY,
    TEMPERATURE,
    VOLUME,
    Course,
    Space,
)
from models.quantities import ATMOSPHERE, GAS_CONSTANT
from models.system import Array

LEAST_SHARE = 1e-9  # of the fill


@inlined
def piece_of(t: float, course: Course) -> float:
    """Piece of the schedule that begins at or before time t: 0 waiting ... 3 end pressure."""
    if t < course.delay:
        return 0.0
    if t < course.ramp_begin:
        return 1.0
    return 2.0 if t < course.ramp_end else 3.0


@inlined
def schedule(t: float, piece: float, course: Course, rig: Rig) -> tuple[float, float]:
    """Pressure (Pa) and its slope (Pa/s) that the controller wants at time t (s).

    The piece is that of the begin of a step, so that its end does not see the next one.
    """
    if piece == 0.0:
        return ATMOSPHERE, 0.0
    if piece == 1.0:
        p = ATMOSPHERE * np.exp(-rig.pump_rate * (t - course.delay))
        return p, -rig.pump_rate * p
    if piece == 2.0:
        return course.pull_to - course.ramp_rate * (t - course.ramp_begin), -course.ramp_rate
    return course.end_pressure, 0.0


@inlined
def contents(
    y: Array, k: int, course: Course, liquid: Liquid, rig: Rig
) -> tuple[float, float, float, float]:
    """Moles, volume (m3), heat capacity (J/K) and wetted share of the full area of a class."""
    pure = liquid.pure
    solvents = pure.shape[0]
    base = 1 + k * (solvents + 1)
    if solvents == 1:
        level = max(y[base], 0.5 * course.dry_level)
        share = max(np.exp(np.log(level) / course.power) - course.floor, LEAST_SHARE)
        moles = course.moles * share
        wet = course.fill_wet * np.exp(course.exponent * np.log(share))
        return moles, moles * pure[0, MOLAR_VOLUME], moles * pure[0, HEAT_CAPACITY], wet
    moles, volume, capacity = 0.0, 0.0, 0.0
    for j in range(solvents):
        n = max(y[base + j], 0.0)
        moles += n
        volume += n * pure[j, MOLAR_VOLUME]
        capacity += n * pure[j, HEAT_CAPACITY]
    wet = np.exp(course.exponent * np.log(max(volume, 1e-15) / rig.capacity))
    return moles, volume, capacity, wet


@inlined
def fractions(y: Array, base: int, moles: float, x: Array) -> None:
    """Write the mole fractions [S] of the liquid whose moles begin at ``base`` into ``x``."""
    for j in range(x.shape[0]):
        x[j] = max(y[base + j], 0.0) / moles


@inlined
def keeper_flux(x: Array, temperature: float, p: float, volume: float, course: Course,
                liquid: Liquid, rig: Rig, space: Space) -> float:
    """Moles per second by which still liquid shrinks as its keeper diffuses away.

    What is dissolved in the keeper is in equilibrium with the chamber and goes with it.
    """
    keeper = rig.keeper
    if keeper < 0 or x[keeper] <= 1e-12:
        return 0.0
    out = space.scratch[1]
    partial_pressures(x, temperature, liquid, rig, out, space.scratch[0], space.work)
    velocity = course.film_transport * transfer_velocity(
        diffusion_velocity(temperature, p), liquid.pure[keeper, KINETIC], temperature)
    surface = SURFACE_SHAPE * volume ** (2.0 / 3.0)
    return velocity * surface * out[keeper] / (GAS_CONSTANT * temperature * x[keeper])


@inlined
def still_slopes(k: int, y: Array, f: Array, space: Space, course: Course, liquid: Liquid,
                 rig: Rig) -> tuple[float, float]:
    """Write what a still class loses by diffusion; heat that takes (W) and moles per second."""
    pure, aux = liquid.pure, space.aux
    solvents = pure.shape[0]
    if solvents == 1:
        return 0.0, 0.0
    base, temperature, x = 1 + k * (solvents + 1), aux[k, TEMPERATURE], space.scratch[4]
    fractions(y, base, aux[k, MOLES], x)
    flux = keeper_flux(x, temperature, y[0], aux[k, VOLUME], course, liquid, rig, space)
    heat = 0.0
    for j in range(solvents):
        f[base + j] = -x[j] * flux
        heat += x[j] * flux * vaporisation_enthalpy(pure, j, temperature)
    return heat, flux


@inlined
def boiling_slopes(k: int, y: Array, f: Array, pull: Array, heat: float, capacity: float,
                   boiling_slope: float, space: Space, liquid: Liquid, rig: Rig) -> None:
    """Write what a boiling class makes of its heat (W); ``capacity`` (J/K) with the glass."""
    pure, aux = liquid.pure, space.aux
    solvents, temperature = pure.shape[0], aux[k, TEMPERATURE]
    base = 1 + k * (solvents + 1)
    if solvents == 1:
        enthalpy = vaporisation_enthalpy(pure, 0, temperature)
        by_pressure, drift = boiling_slope / y[0], 0.0
        space.vapour[k, 0] = 1.0
    else:
        x, vapour = space.scratch[4], space.vapour[k]
        fractions(y, base, aux[k, MOLES], x)
        ln_p, by_t, by_x = bubble_slopes(
            x, temperature, liquid, rig, vapour, space.scratch, space.work)
        aux[k, OVER] = (ln_p - np.log(y[0])) / by_t
        by_pressure = 1.0 / (by_t * y[0])
        drift = max(-by_x / by_t, 0.0) / aux[k, MOLES]
        enthalpy = 0.0
        for j in range(solvents):
            enthalpy += vapour[j] * vaporisation_enthalpy(pure, j, temperature)
    need = enthalpy + capacity * drift
    aux[k, ENTHALPY] = enthalpy
    aux[k, SUPPLY] = heat / need
    aux[k, FLASH] = capacity * by_pressure / need
    pull[base + solvents] = by_pressure
    f[base + solvents] = drift


@inlined
def class_slopes(k: int, y: Array, f: Array, pull: Array, boiling: float, boiling_slope: float,
                 space: Space, course: Course, liquid: Liquid, rig: Rig) -> None:
    """Write what a class does by itself: into ``aux``, ``f`` and ``pull``.

    For a boiling class ``f`` holds dT per mole boiled off and ``pull`` dT/dP until
    :func:`flow_slopes`. ``boiling`` and ``boiling_slope`` are the temperature (K) and
    dT/dlnP of a single solvent.
    """
    pure, aux = liquid.pure, space.aux
    solvents = pure.shape[0]
    base = 1 + k * (solvents + 1)
    place = base + solvents
    moles, volume, capacity, wet = contents(y, k, course, liquid, rig)
    u = course.u_slowest if k == 0 else (course.u_slower if k == 1 else course.u_faster)
    glass = course.warming * u * course.glass_area
    gap = y[0] / (y[0] + rig.gap_pressure)
    conductance = u * gap * (rig.full_area * wet + rig.rim_area)
    temperature = y[place]
    if solvents == 1 and space.mode[k] == BOILING:
        temperature = boiling
    heat = conductance * (course.set_temperature - temperature)
    aux[k, TEMPERATURE], aux[k, MOLES], aux[k, VOLUME] = temperature, moles, volume
    aux[k, OVER], aux[k, GLASS] = 0.0, glass
    flux = 0.0
    if space.mode[k] == HEATING:
        f[place] = heat / (capacity + glass)
        heat -= glass * f[place]
    elif space.mode[k] == STILL:
        heat, flux = still_slopes(k, y, f, space, course, liquid, rig)
    else:
        boiling_slopes(k, y, f, pull, heat, capacity + glass, boiling_slope, space, liquid, rig)
    tail = 1 + CLASSES * (solvents + 1)
    if y.shape[0] > tail:
        f[tail + 3 * k] = heat
        if space.mode[k] == STILL:
            f[tail + 3 * k + 1] = flux
            f[tail + 3 * k + 2] = heat + flux * capacity / moles * temperature


@inlined
def flow_slopes(k: int, y: Array, f: Array, pull: Array, slope: float, space: Space,
                course: Course, liquid: Liquid) -> None:
    """Finish ``f`` and ``pull`` of a boiling class once dP/dt (``slope``) is known."""
    pure, aux = liquid.pure, space.aux
    solvents = pure.shape[0]
    base = 1 + k * (solvents + 1)
    flash = aux[k, FLASH]
    flow = aux[k, SUPPLY] - flash * slope
    aux[k, FLOW] = flow
    if solvents == 1:
        share = aux[k, MOLES] / course.moles + course.floor
        factor = course.power * y[base] / (share * course.moles)
        f[base] = -factor * flow
        pull[base] = factor * flash
        f[base + 1] = pull[base + 1] * slope
    else:
        drift = f[base + solvents]
        for j in range(solvents):
            f[base + j] = -space.vapour[k, j] * flow
            pull[base + j] = space.vapour[k, j] * flash
        f[base + solvents] = pull[base + solvents] * slope + drift * flow
        pull[base + solvents] -= drift * flash
    tail = 1 + CLASSES * (solvents + 1)
    if y.shape[0] > tail:
        f[tail + 3 * k] -= aux[k, GLASS] * f[base + solvents]
        pull[tail + 3 * k] = -aux[k, GLASS] * pull[base + solvents]
        content = aux[k, ENTHALPY]
        for j in range(solvents):
            content += space.vapour[k, j] * pure[j, HEAT_CAPACITY] * aux[k, TEMPERATURE]
        f[tail + 3 * k + 1], f[tail + 3 * k + 2] = flow, flow * content
        pull[tail + 3 * k + 1], pull[tail + 3 * k + 2] = -flash, -flash * content


@inlined
def cool_vapour(space: Space, liquid: Liquid, rig: Rig) -> None:
    """Keep in ``cold`` the breakthrough pressure and enthalpy of the vapour now made."""
    weight, pressure, enthalpy = 0.0, 0.0, 0.0
    for k in range(CLASSES):
        supply = rig.share[k] * space.aux[k, SUPPLY]
        weight += supply
        for j in range(liquid.pure.shape[0]):
            pressure += supply * space.vapour[k, j] * liquid.pure[j, P_COLD]
            enthalpy += supply * space.vapour[k, j] * liquid.pure[j, H_COLD]
    if weight > 0.0:
        space.cold[0] = pressure / weight
        space.cold[1] = enthalpy / weight


@inlined
def slopes(t: float, y: Array, f: Array, pull: Array, space: Space, course: Course,
           liquid: Liquid, rig: Rig) -> None:
    """Write the time derivatives of the state.

    Parameters
    ----------
    t : s
    y : state; its pressure is set to the schedule's while on schedule
    f, pull : as y, filled
    space : reads ``mode``, ``now[ON]`` and ``now[PIECE]``; fills ``aux``, ``vapour``, ``cold``,
        ``now[LOAD]`` (W, what the condenser takes) and ``now[MARGIN]``, by how much the slope
        wanted is above what the pressure can do, over the pump's rate: negative where the
        schedule cannot be followed
    """
    aux, solvents = space.aux, liquid.pure.shape[0]
    wanted, wanted_slope = schedule(t, space.now[PIECE], course, rig)
    on = space.now[ON] > 0.0
    if on:
        y[0] = wanted
    p = y[0]
    boiling, boiling_slope = 0.0, 0.0
    if solvents == 1:
        boiling, boiling_slope = boiling_point(np.log(p), liquid, rig)
    for i in range(y.shape[0]):
        f[i] = 0.0
        pull[i] = 0.0
    supply, inertia = 0.0, 0.0
    for k in range(CLASSES):
        aux[k, SUPPLY], aux[k, FLASH], aux[k, FLOW] = 0.0, 0.0, 0.0
        if space.mode[k] < DRY:
            class_slopes(k, y, f, pull, boiling, boiling_slope, space, course, liquid, rig)
            supply += rig.vessels[k] * aux[k, SUPPLY]
            inertia += rig.vessels[k] * aux[k, FLASH]
    cool_vapour(space, liquid, rig)
    enthalpy = space.cold[1]
    duty = course.duty * rig.power * duty_share(p, space.cold[0], rig.t_cold, enthalpy)
    pumped = rig.pump_moles * min(p, space.cold[0])
    excess = supply - duty / enthalpy - pumped
    fastest = -rig.pump_rate * p
    limit = fastest
    if excess > 0.0:
        limit = 0.0 if p >= ATMOSPHERE else excess / (inertia + rig.gas_moles)
    elif excess > fastest * inertia:
        limit = excess / inertia
    slope = wanted_slope if on else limit
    f[0] = slope
    pull[0] = 1.0
    made = 0.0
    for k in range(CLASSES):
        if space.mode[k] == BOILING:
            flow_slopes(k, y, f, pull, slope, space, course, liquid)
            made += rig.vessels[k] * aux[k, FLOW] * aux[k, ENTHALPY]
    space.now[LOAD] = max(made, 0.0) * duty / (duty + pumped * enthalpy)
    space.now[MARGIN] = (wanted_slope - limit) / (-fastest)
