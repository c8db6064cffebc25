"""One vessel of the simulated benches: boiling, heating, analyte loss; SI units, compiled.

Closures differ from the run model's on purpose (see :mod:`experiments.studies.bench_kernel`):
enthalpies by Watson's rule, two-suffix Margules activities, three wetted-area laws, heat
transfer that falls with the wall-to-liquid difference (onset of film boiling), a condenser
that saturates, end loss through a boundary layer in series with surface kinetics.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from experiments.studies.bench_records import Packed, Records
from models.system import Array

State = np.ndarray[Any, np.dtype[np.int64]]
GAS = 8.31446261815324
ACTIVITY_TEMPERATURE = 313.15
DIFFUSIVITY = 7e-6  # m2/s of a semi-volatile vapour at 298 K and 1 atm (order of magnitude)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _partial(temperature: float, n: Array, liquid: Packed, out: Array) -> float:
    """Partial pressures of the solvents over the liquid, Pa, into ``out``; returns the sum."""
    count = n.shape[0]
    total = n.sum()
    quadratic = 0.0
    for j in range(count):
        for k in range(count):
            quadratic += n[j] * n[k] * liquid.margules[j, k]
    quadratic *= 0.5 / (total * total)
    scale = ACTIVITY_TEMPERATURE / temperature
    pressure = 0.0
    for j in range(count):
        linear = 0.0
        for k in range(count):
            linear += liquid.margules[j, k] * n[k]
        ln_gamma = scale * (linear / total - quadratic)
        ln_p = liquid.solvents[j].a - liquid.solvents[j].b / (temperature + liquid.solvents[j].c)
        out[j] = n[j] / total * np.exp(ln_gamma + ln_p)
        pressure += out[j]
    return pressure


@njit(cache=True, nogil=True, error_model="numpy")
def bubble_temperature(pressure: float, n: Array, guess: float, liquid: Packed) -> float:
    """Temperature at which the liquid boils at that pressure, K (Newton on ln P)."""
    if n.shape[0] == 1:
        above = liquid.solvents[0].b / (liquid.solvents[0].a - np.log(pressure))
        return float(above - liquid.solvents[0].c)
    part = np.empty(n.shape[0])
    temperature = guess
    for _ in range(30):
        total = _partial(temperature, n, liquid, part)
        slope = 0.0
        for j in range(n.shape[0]):
            below = temperature + liquid.solvents[j].c
            slope += part[j] / total * liquid.solvents[j].b / (below * below)
        change = (np.log(pressure) - np.log(total)) / slope
        temperature = min(max(temperature + min(max(change, -25.0), 25.0), 160.0), 520.0)
        if abs(change) < 1e-5:
            break
    return temperature


@njit(cache=True, nogil=True, error_model="numpy")
def _reduced(temperature: float, solvent: Any) -> float:
    """Watson's distance to the critical point, 1 at the normal boiling point."""
    return float((solvent.critical - temperature) / (solvent.critical - solvent.boil))


@njit(cache=True, nogil=True, error_model="numpy")
def evaporation_enthalpy(temperature: float, n: Array, liquid: Packed) -> float:
    """Enthalpy of the vapour leaving the liquid, J/mol, by Watson's rule (exponent 0.38)."""
    count = n.shape[0]
    if count == 1:
        reduced = _reduced(temperature, liquid.solvents[0])
        return float(liquid.solvents[0].h_boil * reduced**0.38)
    part = np.empty(count)
    total = _partial(temperature, n, liquid, part)
    value = 0.0
    for j in range(count):
        reduced = _reduced(temperature, liquid.solvents[j])
        value += part[j] / total * liquid.solvents[j].h_boil * reduced**0.38
    return value


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def volume_of(n: Array, liquid: Packed) -> float:
    """Liquid volume, m3."""
    total = 0.0
    for j in range(n.shape[0]):
        total += n[j] * liquid.solvents[j].molar_volume
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def condenser_room(
    pressure: float, cold: float, mean: Array, liquid: Packed, rig: Any
) -> float:
    """Heat the condenser can take at that pressure, W; 0 where the vapour stays a gas.

    ``mean`` [S] is the composition of the vapour on its way (any scale).
    """
    total = mean.sum()
    if total <= 0.0:
        return 0.0
    saturation = 0.0
    for j in range(mean.shape[0]):
        t_sat = liquid.solvents[j].b / (liquid.solvents[j].a - np.log(pressure))
        saturation += mean[j] / total * (t_sat - liquid.solvents[j].c)
    drive = saturation - cold
    if drive <= 0.0:
        return 0.0
    powered = drive**0.75
    return float(rig.condenser_power * powered / (powered + rig.condenser_half**0.75))


@njit(cache=True, nogil=True, error_model="numpy")
def slip_pressure(cold: float, mean: Array, liquid: Packed) -> float:
    """Pressure of the vapour that leaves a working condenser for the pump, Pa."""
    total = mean.sum()
    value = 0.0
    for j in range(mean.shape[0]):
        value += mean[j] / total * (liquid.solvents[j].a - liquid.solvents[j].b / (
            cold + liquid.solvents[j].c))
    return float(np.exp(value))


@njit(cache=True, nogil=True, error_model="numpy")
def heat_conductance(
    v: int, n: Array, pressure: float, liquid_t: float, wall: float, liquid: Packed, rig: Any,
    vessels: Records, conductance: Array, capacity: Array,
) -> None:
    """Write the heat conductance [V] W/K and heat capacity [V] J/K of a wet vessel."""
    share = min(volume_of(n[v], liquid) / rig.capacity, 1.0)
    law = rig.area_law
    if law == 0:  # a liquid ring that thins
        area = (1.0 - np.exp(-rig.area_shape * share)) / (1.0 - np.exp(-rig.area_shape))
    elif law == 1:  # a cone
        area = share**0.55
    else:  # a ring held up by the spin
        area = share**0.75
    heel = rig.area_floor * min(share / 2e-4, 1.0) ** 0.5  # the wet heel under the ring
    area = heel + (1.0 - heel) * area
    difference = max(wall - liquid_t, 0.0)
    transfer = rig.heat_transfer * vessels[v].position
    transfer /= 1.0 + (difference / rig.film_boiling) ** 2
    if rig.gas_gap > 0:  # heat crosses a gas gap
        transfer *= pressure / (pressure + 800.0)
    conductance[v] = transfer * rig.full_area * area
    total = 0.0
    for j in range(n.shape[1]):
        total += n[v, j] * liquid.solvents[j].heat_capacity
    capacity[v] = total + rig.glass * max(area, 0.05)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _transfer(molar: float, pressure: float, temperature: float, rig: Any) -> float:
    """Mass transfer coefficient m/s: boundary layer in series with surface kinetics."""
    diffusive = (
        DIFFUSIVITY * (101325.0 / pressure) * (temperature / 298.15) ** 1.75 / rig.diffusion_path
    )
    kinetic = rig.accommodation * np.sqrt(GAS * temperature / (2.0 * np.pi * molar))
    return float(1.0 / (1.0 / diffusive + 1.0 / kinetic))


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _ln_pressure(i: int, temperature: float, liquid: Packed) -> float:
    change = liquid.analytes[i].slope * (1.0 / temperature - 1.0 / 298.15)
    return float(liquid.analytes[i].ln_p25 - change)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _ln_escaping(
    i: int, temperature: float, n: Array, total: float, liquid: Packed
) -> float:
    """Ln of gamma times vapour pressure of an analyte over its liquid."""
    ln_gamma = 0.0
    for j in range(n.shape[0]):
        ln_gamma += n[j] / total * liquid.ln_gamma[i, j]
    return ln_gamma * ACTIVITY_TEMPERATURE / temperature + _ln_pressure(i, temperature, liquid)


@njit(cache=True, nogil=True, error_model="numpy")
def _decay(
    v: int, dt: float, temperature: float, liquid: Packed, rig: Any, loss: Array
) -> None:
    """First-order thermal loss (Arrhenius from 313.15 K)."""
    for i in range(loss.shape[1]):
        if liquid.analytes[i].thermal > 0.0:
            factor = np.exp(-rig.activation / GAS * (1.0 / temperature - 1.0 / 313.15))
            loss[v, i] += liquid.analytes[i].thermal * factor * dt


@njit(cache=True, nogil=True, error_model="numpy")
def _lose_from_film(
    v: int, dt: float, pressure: float, temperature: float, liquid: Packed, rig: Any, loss: Array
) -> None:
    """Loss from a dry vessel: mole fraction of what is left in the residue."""
    film = rig.residue
    for i in range(loss.shape[1]):
        film += np.exp(-loss[v, i]) * liquid.analytes[i].spike
    for i in range(loss.shape[1]):
        rate = (
            rig.film_area
            * _transfer(liquid.analytes[i].molar, pressure, temperature, rig)
            * liquid.analytes[i].residue_gamma
            * np.exp(_ln_pressure(i, temperature, liquid))
            / (GAS * temperature)
        )
        loss[v, i] += rate / film * dt


@njit(cache=True, nogil=True, error_model="numpy")
def _lose_from_still(
    v: int, dt: float, pressure: float, temperature: float, n: Array, liquid: Packed, rig: Any,
    loss: Array,
) -> None:
    """Diffusive loss of solvent and analytes from a liquid that does not boil."""
    part = np.empty(n.shape[1])
    total = n[v].sum()
    surface = 0.25 * rig.full_area
    _partial(temperature, n[v], liquid, part)
    for i in range(loss.shape[1]):
        rate = (
            surface
            * _transfer(liquid.analytes[i].molar, pressure, temperature, rig)
            * np.exp(_ln_escaping(i, temperature, n[v], total, liquid))
            / (GAS * temperature * total)
        )
        loss[v, i] += rate * dt
    for j in range(n.shape[1]):
        moving = surface * _transfer(0.15, pressure, temperature, rig)
        rate = moving * part[j] / (GAS * temperature)
        n[v, j] *= np.exp(-rate * dt / max(n[v, j], 1e-12))


@njit(cache=True, nogil=True, error_model="numpy")
def _boil_off(
    v: int, made: float, rate: float, pressure: float, temperature: float, n: Array,
    liquid: Packed, rig: Any, mean: Array, loss: Array,
) -> float:
    """Take ``made`` moles of vapour out of the vessel; returns the vapour velocity, m/s."""
    part = np.empty(n.shape[1])
    pieces = 1 + int(6.0 * made / n[v].sum())
    velocity = rate * GAS * temperature / (pressure * 0.25 * rig.full_area)
    efficiency = rig.enrichment * (1.0 + rig.enrichment_slope * velocity)
    carry = rig.carry_over * min(velocity, 3.0) ** 2
    for _ in range(pieces):
        total = n[v].sum()
        vapour = _partial(temperature, n[v], liquid, part)
        portion = min(made / pieces, 0.95 * total)
        log_ratio = np.log(1.0 - portion / total)
        for i in range(loss.shape[1]):
            alpha = np.exp(_ln_escaping(i, temperature, n[v], total, liquid)) / vapour
            loss[v, i] -= (efficiency * alpha + carry) * log_ratio
        for j in range(n.shape[1]):
            gone = min(part[j] / vapour * portion, 0.98 * n[v, j])
            mean[j] += gone
            n[v, j] -= gone
    return float(velocity)


@njit(cache=True, nogil=True, error_model="numpy")
def lose_analytes(
    v: int, dt: float, pressure: float, wall: float, n: Array, temp: Array, state: State,
    control: int, end_volume: float, conductance: Array, capacity: Array, liquid: Packed,
    rig: Any, vessels: Records, mean: Array, loss: Array,
) -> float:
    """Advance one vessel by ``dt``; returns its boil-over index in that step."""
    if state[v] == 1:
        temp[v] = wall + (temp[v] - wall) * np.exp(-dt / vessels[v].warming)
        _lose_from_film(v, dt, pressure, temp[v], liquid, rig, loss)
        _decay(v, dt, temp[v], liquid, rig, loss)
        return 0.0
    if state[v] == 2:
        _decay(v, dt, temp[v], liquid, rig, loss)
        return 0.0
    _decay(v, dt, temp[v], liquid, rig, loss)
    t_bub = bubble_temperature(pressure, n[v], temp[v], liquid)
    power = conductance[v] * (wall - t_bub) * dt + capacity[v] * (temp[v] - t_bub)
    if not (power > 0.0 and (wall > t_bub or temp[v] > t_bub)):
        relax = np.exp(-conductance[v] * dt / capacity[v])
        temp[v] = wall + (temp[v] - wall) * relax
        _lose_from_still(v, dt, pressure, temp[v], n, liquid, rig, loss)
        if control != 2 and volume_of(n[v], liquid) <= vessels[v].dry_volume:
            state[v] = 1  # its keeper has gone
        return 0.0
    rate = power / evaporation_enthalpy(t_bub, n[v], liquid) / dt
    temp[v] = t_bub
    share = volume_of(n[v], liquid) / rig.capacity
    stop = end_volume if control == 2 else vessels[v].dry_volume
    volume_rate = rate * volume_of(n[v], liquid) / n[v].sum()
    boiling = dt
    if volume_of(n[v], liquid) - volume_rate * dt <= stop:
        boiling = max(volume_of(n[v], liquid) - stop, 0.0) / volume_rate
        state[v] = 2 if control == 2 else 1
    made = min(rate * boiling, 0.999 * n[v].sum())
    velocity = _boil_off(v, made, rate, pressure, t_bub, n, liquid, rig, mean, loss)
    if state[v] == 1 and boiling < dt:
        _lose_from_film(v, dt - boiling, pressure, temp[v], liquid, rig, loss)
    crowding = 1.0 + (share / rig.fill_limit) ** 6
    return velocity * crowding / rig.velocity_limit if share > 0.02 else 0.0
