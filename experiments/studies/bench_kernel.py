"""A vacuum-evaporation batch as the simulated benches play it; SI units, compiled.

Written apart from :mod:`models.run_model` and with other closures on purpose: every vessel
position is a state of its own, the step is implicit in the chamber pressure, wetted area,
film-boiling, condenser and end-loss laws differ. A study on these benches therefore tests
the tool on physics it does not contain.

======== =====================================================
symbol   meaning
======== =====================================================
V, S, A  vessel positions, solvents (keeper last), analytes
N        settings
n        [V, S] moles of solvent in each vessel
temp     [V] K, liquid or dry vessel
left     [V, A] surviving share of each analyte
======== =====================================================
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from experiments.studies.bench_records import Liquid, Packed, Records, Rig, pack_liquid, pack_rig
from experiments.studies.bench_vessel import (
    GAS,
    State,
    bubble_temperature,
    condenser_room,
    evaporation_enthalpy,
    heat_conductance,
    lose_analytes,
    slip_pressure,
    volume_of,
)
from models.system import Array

ATMOSPHERE, ROOM = 101325.0, 293.15  # Pa, K
SHORTEST, LONGEST = 1.5, 12.0  # s, steps of the implicit integration
PRESSURE_CHANGE, VOLUME_CHANGE = 0.04, 0.08  # relative change a step aims at
NEVER_BOILS = 4800.0  # s; no load until then at end pressure: the wall is too cold
FINISHED, NOT_DRY, BOIL_OVER = 0, 1, 2


@njit(cache=True, nogil=True, error_model="numpy")
def _vapour(
    pressure: float, n: Array, temp: Array, state: State, wall: float, conductance: Array,
    capacity: Array, liquid: Packed, dt: float,
) -> tuple[float, float]:
    """Vapour all wet vessels make in a step at that pressure, mol/s, and its enthalpy, W."""
    moles = 0.0
    power = 0.0
    single = n.shape[1] == 1
    t_bub = bubble_temperature(pressure, n[0], temp[0], liquid) if single else 0.0
    enthalpy = evaporation_enthalpy(t_bub, n[0], liquid) if single else 1.0
    for v in range(n.shape[0]):
        if state[v] == 0:
            if not single:
                t_bub = bubble_temperature(pressure, n[v], temp[v], liquid)
            heat = conductance[v] * (wall - t_bub) * dt + capacity[v] * (temp[v] - t_bub)
            if heat > 0.0 and (wall > t_bub or temp[v] > t_bub):
                if not single:
                    enthalpy = evaporation_enthalpy(t_bub, n[v], liquid)
                made = min(heat / enthalpy, n[v].sum())
                moles += made / dt
                power += made / dt * enthalpy
    return moles, power


@njit(cache=True, nogil=True, error_model="numpy")
def _excess(
    pressure: float, cold: float, mean: Array, n: Array, temp: Array, state: State, wall: float,
    conductance: Array, capacity: Array, liquid: Packed, rig: Any, dt: float,
) -> tuple[float, float]:
    """Vapour made less vapour removed, mol/s, and the power condensed, W."""
    moles, power = _vapour(pressure, n, temp, state, wall, conductance, capacity, liquid, dt)
    room = condenser_room(pressure, cold, mean, liquid, rig)
    pumped = rig.pump * pressure / (GAS * ROOM)
    if moles <= 0.0:
        return -pumped, 0.0
    enthalpy = power / moles
    slip = min(rig.pump * slip_pressure(cold, mean, liquid) / (GAS * ROOM), moles)
    return moles - pumped - room / enthalpy, min(room, (moles - slip) * enthalpy)


@njit(cache=True, nogil=True, error_model="numpy")
def _chamber_pressure(
    low: float, old: float, cold: float, mean: Array, n: Array, temp: Array, state: State,
    wall: float, conductance: Array, capacity: Array, liquid: Packed, rig: Any, dt: float,
) -> tuple[float, float]:
    """Pressure at which vapour made and removed agree, at least ``low``; condensed power."""
    f_low, condensed = _excess(
        low, cold, mean, n, temp, state, wall, conductance, capacity, liquid, rig, dt
    )
    if f_low <= 0.0 or low >= ATMOSPHERE:
        return low, condensed
    a = low
    b = min(max(old, low) * 1.03 + 1.0, ATMOSPHERE)
    f_b, condensed = _excess(
        b, cold, mean, n, temp, state, wall, conductance, capacity, liquid, rig, dt
    )
    while f_b > 0.0 and b < ATMOSPHERE:
        a = b
        f_low = f_b
        b = min(b * 1.3, ATMOSPHERE)
        f_b, condensed = _excess(
            b, cold, mean, n, temp, state, wall, conductance, capacity, liquid, rig, dt
        )
    if f_b > 0.0:
        return b, condensed
    root = b
    for _ in range(40):  # Illinois variant of the secant rule on a bracket
        root = b - f_b * (b - a) / (f_b - f_low)
        f_root, condensed = _excess(
            root, cold, mean, n, temp, state, wall, conductance, capacity, liquid, rig, dt
        )
        if abs(f_root) < 1e-9 or abs(b - a) < 1e-4 * root:
            break
        if f_root * f_b < 0.0:
            a = b
            f_low = f_b
        else:
            f_low *= 0.5
        b = root
        f_b = f_root
    return root, condensed


@njit(cache=True, nogil=True, error_model="numpy")
def _next_step(
    dt: float, pressure: float, old_pressure: float, volume: Array, old_volume: Array,
    state: State, rig: Any,
) -> float:
    """Length of the next step, s: pressure, volumes and load lag change little in it."""
    step = min(LONGEST, 0.4 * rig.load_lag)
    if pressure != old_pressure:
        step = min(step, PRESSURE_CHANGE * pressure * dt / abs(old_pressure - pressure))
    for v in range(volume.shape[0]):
        if state[v] == 0 and old_volume[v] > volume[v]:
            step = min(step, VOLUME_CHANGE * volume[v] * dt / (old_volume[v] - volume[v]))
    return float(max(step, SHORTEST) * rig.step)


@njit(cache=True, nogil=True, error_model="numpy")
def _lowest_pressure(
    time: float, dt: float, ramp_begun: float, pressure: float, setting: Array, rig: Any
) -> float:
    """Pressure the programme and the pump allow at the end of the step, Pa."""
    if time < rig.start_delay:
        return ATMOSPHERE
    plan = rig.ramp_start
    if ramp_begun >= 0.0:
        plan = max(setting[2], rig.ramp_start - setting[1] * (time + dt - ramp_begun))
    return float(max(pressure * np.exp(-rig.pump / rig.chamber * dt), plan))


@njit(cache=True, nogil=True, error_model="numpy")
def _look_at_vessels(
    pressure: float, wall: float, n: Array, temp: Array, state: State, liquid: Packed, rig: Any,
    vessels: Records, conductance: Array, capacity: Array, volume: Array,
) -> None:
    """Write volume [V], and heat conductance and capacity [V] of the wet ones, before a step."""
    for v in range(n.shape[0]):
        volume[v] = volume_of(n[v], liquid)
        if state[v] == 0:
            heat_conductance(v, n, pressure, temp[v], wall, liquid, rig, vessels, conductance,
                             capacity)


@njit(cache=True, nogil=True, error_model="numpy")
def _low_since(
    since: float, time: float, dt: float, before: float, load: float, threshold: float
) -> float:
    """Time since when the load is at its threshold or below, s; -1 while it is above.

    Within the step that crossed it the load is taken as a straight line from ``before``.
    """
    if load > threshold:
        return -1.0
    if since >= 0.0:
        return since
    share = (before - threshold) / (before - load) if before > threshold else 1.0
    return time - dt * (1.0 - share)


@njit(cache=True, nogil=True, error_model="numpy")
def _filled(count: int, fill: Array, liquid: Packed) -> Array:
    """Moles [V, S] in ``count`` vessels that hold ``fill`` [S] m3 each."""
    n = np.empty((count, fill.shape[0]))
    for j in range(fill.shape[0]):
        n[:, j] = fill[j] / liquid.solvents[j].molar_volume
    return n


@njit(cache=True, nogil=True, error_model="numpy")
def _boil_all(
    dt: float, pressure: float, wall: float, n: Array, temp: Array, state: State, control: int,
    end_volume: float, conductance: Array, capacity: Array, liquid: Packed, rig: Any,
    vessels: Records, mean: Array, loss: Array, volume: Array,
) -> float:
    """Carry every vessel over a step; gives the highest boil-over index.

    Written are the vapour of all vessels ``mean`` [S], their losses and their volumes [V].
    """
    index = 0.0
    mean[:] = 1e-12
    for v in range(n.shape[0]):
        index = max(index, lose_analytes(
            v, dt, pressure, wall, n, temp, state, control, end_volume, conductance, capacity,
            liquid, rig, vessels, mean, loss
        ))
        volume[v] = volume_of(n[v], liquid)
    return index


@njit(cache=True, nogil=True, error_model="numpy")
def _past_weight(volume: Array, old_volume: Array, end_volume: float, dt: float) -> float:
    """Time that has passed since the vessels weighed their end volume, s; -1 while they do not."""
    if volume.mean() > end_volume:
        return -1.0
    over = (end_volume - volume.mean()) / (old_volume.mean() - volume.mean())
    return float(over * dt)


@njit(cache=True, nogil=True, error_model="numpy")
def run(
    setting: Array, has_keeper: bool, control: int, fill: Array, end_volume: float,
    liquid: Packed, rig: Any, vessels: Records, left: Array,
) -> tuple[float, int, float]:
    """Play one batch.

    Parameters
    ----------
    setting : [4] set temperature K, ramp rate Pa/s, end pressure Pa, hold s
    control : 0 condenser load, 1 weighing, 2 cold tip
    fill : [S] m3 of each solvent, keeper last
    left : [V, A] written: surviving share of each analyte

    Returns
    -------
    run time s, status, boil-over index
    """
    wall_set, end_pressure, hold = setting[0], setting[2], setting[3]
    count = vessels.shape[0]
    n = _filled(count, fill, liquid)
    temp = np.full(count, ROOM)
    state = np.zeros(count, np.int64)  # 0 wet, 1 dry, 2 held by a cold tip
    conductance = np.zeros(count)
    capacity = np.ones(count)
    mean = fill.copy()
    loss = np.zeros_like(left)
    pressure, cold = ATMOSPHERE, rig.condenser_temperature
    ramp_begun, time, load, peak, index = -1.0, 0.0, 0.0, 0.0, 0.0
    low_since = -1.0
    status = NOT_DRY
    void = rig.void_rule > 0 and condenser_room(end_pressure, cold, fill, liquid, rig) <= 0.0
    if void and control != 1:  # the end-point rule cannot stop such a run
        left[:] = 0.0
        return rig.max_time, NOT_DRY, 0.0
    volume = np.empty(count)
    old_volume = np.empty(count)
    step = SHORTEST * rig.step
    while time < rig.max_time:
        dt = step
        old_pressure = pressure
        if low_since >= 0.0 and low_since + hold - time < dt:
            dt = max(low_since + hold - time, 1e-6)
        wall = wall_set - (wall_set - ROOM) * np.exp(-time / max(rig.wall_lag, 1e-3))
        _look_at_vessels(pressure, wall, n, temp, state, liquid, rig, vessels, conductance,
                         capacity, old_volume)
        if ramp_begun < 0.0 and pressure <= rig.ramp_start * 1.0001:
            ramp_begun = time
        floor = _lowest_pressure(time, dt, ramp_begun, pressure, setting, rig)
        pressure, condensed = _chamber_pressure(
            floor, pressure, cold, mean, n, temp, state, wall, conductance, capacity,
            liquid, rig, dt
        )
        index = max(index, _boil_all(
            dt, pressure, wall, n, temp, state, control, end_volume, conductance, capacity,
            liquid, rig, vessels, mean, loss, volume
        ))
        step = _next_step(dt, pressure, old_pressure, volume, old_volume, state, rig)
        before = load
        load += (condensed - load) * (1.0 - np.exp(-dt / rig.load_lag))
        cold = rig.condenser_temperature + rig.condenser_warming * load
        peak = max(peak, load)
        time += dt
        if control == 1:
            over = _past_weight(volume, old_volume, end_volume, dt)
            if over < 0.0:
                continue
            time -= over
            status = FINISHED
            break
        if peak == 0.0 and pressure <= end_pressure * 1.03 and time > NEVER_BOILS:
            break
        settled = pressure <= end_pressure * 1.03 + 100.0 and peak > 0.0
        if low_since >= 0.0 and time >= low_since + hold - 1e-9 and settled:
            status = FINISHED
            break
        threshold = rig.end_share * peak if settled else -1.0
        low_since = _low_since(low_since, time, dt, before, load, threshold)
    left[:] = np.exp(-loss)
    if _left_wet(n, state, has_keeper, control, fill, end_volume, liquid) > 0.0:
        status = NOT_DRY
    if status == FINISHED and index > 1.0:
        status = BOIL_OVER
    return time, status, index


@njit(cache=True, nogil=True, error_model="numpy")
def _left_wet(
    n: Array, state: State, has_keeper: bool, control: int, fill: Array, end_volume: float,
    liquid: Packed,
) -> float:
    """Solvent beyond what the job allows in the wettest vessel, m3 (0: done)."""
    worst = 0.0
    for v in range(n.shape[0]):
        if control == 1 or state[v] != 0:
            continue
        over = volume_of(n[v], liquid)
        if control == 2:
            over -= 1.2 * end_volume
        elif has_keeper:
            last = n.shape[1] - 1
            keeper = n[v, last] * liquid.solvents[last].molar_volume
            over = over - keeper - 0.5 * fill[last] - 1e-7
        worst = max(worst, over)
    return worst


@njit(cache=True, nogil=True, error_model="numpy")
def _run_all(
    settings: Array, fills: Array, has_keeper: bool, control: int, end_volumes: Array,
    liquid: Packed, rig: Any, vessels: Records,
) -> tuple[Array, State, Array, Array]:
    count = settings.shape[0]
    time = np.empty(count)
    status = np.empty(count, np.int64)
    index = np.empty(count)
    left = np.empty((count, vessels.shape[0], liquid.analytes.shape[0]))
    for i in range(count):
        time[i], status[i], index[i] = run(
            settings[i], has_keeper, control, fills[i], end_volumes[i], liquid, rig, vessels,
            left[i],
        )
    return time, status, index, left


def run_many(
    settings: Array, fills: Array, has_keeper: bool, control: int, end_volumes: Array,
    liquid: Liquid, rig: Rig,
) -> tuple[Array, State, Array, Array]:
    """Play N batches: run time [N] s, status [N], boil-over index [N], left [N, V, A].

    ``settings`` [N, 4], ``fills`` [N, S] and ``end_volumes`` [N] as in :func:`run`.
    """
    record, vessels = pack_rig(rig)
    return _run_all(
        settings, fills, has_keeper, control, end_volumes, pack_liquid(liquid), record, vessels
    )
