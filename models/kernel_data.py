"""The records that the compiled kernels take, and how they are made.

======== ======================================================= =========
symbol   meaning                                                 shape
======== ======================================================= =========
S, A     solvents (keeper last), analytes
classes  the slowest vessel, the slower and the faster others    3
table    boiling temperature and its slope over ln P, uniform    [M, 2]
======== ======================================================= =========
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from models import film, heat_transfer, spin
from models.equipment import RESIDUE_DENSITY, Equipment, Load
from models.quantities import GAS_CONSTANT
from models.system import Array, LiquidSystem
from models.vessel_classes import vessel_classes
from models.volatility import ln_pressure, pressure

Modes = NDArray[np.int64]
CLASSES: Final = 3
KINETIC, H0, MOLAR_VOLUME, HEAT_CAPACITY, FREEZING, P_COLD, H_COLD = 4, 5, 8, 9, 10, 11, 12
PURE: Final = 13
TRACE: Final = 5
GAS_TEMPERATURE: Final = 300.0  # K, of the vapour in the chamber
COLDEST, HOTTEST, NODES = 140.0, 560.0, 700  # K and number of nodes of the boiling table


class Liquid(NamedTuple):
    """Arrays of solvents and analytes; kernels take its fields, not the record.

    ``pure`` [S, PURE] by the column constants of this module; ``pair`` [3, S, S] NRTL a, b
    (K) and alpha; ``traces`` [A, TRACE + S + S*S]: as ``pure`` for ln P, kinetic velocity,
    then ln(gamma) in each solvent and what pairs add; ``table`` [M, 2] boiling temperature
    and dT/dlnP of a single solvent over ln P, [0, 2] for a mixture.
    """

    pure: Array
    pair: Array
    traces: Array
    table: Array


class Rig(NamedTuple):
    """Evaporator, load and control, SI units.

    ``vessels`` in, ``share`` and ``place`` [3] of each class; ``gas_moles`` mol/Pa held by
    the chamber; ``pump_moles`` mol/(Pa s) and ``pump_rate`` 1/s of the pump; ``control``: 0 load
    rule, 1 stop at the mean volume, 2 cold tip; ``keeper`` index of the keeper or -1; ``ideal``
    whether all gamma are 1; ``ln_p0`` and ``ln_dp`` begin and step of the boiling table.
    """

    vessels: Array
    share: Array
    place: Array
    capacity: float
    full_area: float
    rim_area: float
    film_area: float
    gap_pressure: float
    power: float
    t_cold: float
    gas_moles: float
    pump_moles: float
    pump_rate: float
    ramp_start: float
    ultimate: float
    end_fraction: float
    acceleration: float
    density: float
    rise: float
    residue_volume: float
    control: int
    max_time: float
    keeper: int
    ideal: bool
    ln_p0: float
    ln_dp: float


def _boiling_table(coefficients: Array) -> tuple[Array, float, float]:
    """Boiling temperature over ln P by Newton's method; slope dT/dlnP beside it."""
    c = coefficients

    def slope(t: Array) -> Array:
        return np.asarray(-c[1] / t**2 + c[2] / t + c[3])

    ends = ln_pressure(c, np.array([COLDEST, HOTTEST]))
    grid = np.linspace(ends[0], ends[1], NODES)
    warm = np.linspace(COLDEST, HOTTEST, 4 * NODES)
    t = np.interp(grid, ln_pressure(c, warm), warm)
    for _ in range(6):
        t = t - (ln_pressure(c, t) - grid) / slope(t)
    return np.column_stack([t, 1.0 / slope(t)]), float(grid[0]), float(grid[1] - grid[0])


def pack_liquid(system: LiquidSystem, equipment: Equipment) -> Liquid:
    """Arrays of a liquid system as the kernels take them."""
    solvents, analytes = len(system.solvents), len(system.analytes)
    cold = equipment.condenser_temperature_k
    pure = np.empty((solvents, PURE))
    pure[:, :4] = system.ln_p
    pure[:, KINETIC] = [film.kinetic_velocity(m) for m in system.molar_mass]
    pure[:, H0 : H0 + 3] = system.h_vap
    pure[:, MOLAR_VOLUME] = system.molar_mass / system.density
    pure[:, HEAT_CAPACITY] = system.heat_capacity
    pure[:, FREEZING] = system.freezing_temperature
    pure[:, P_COLD] = pressure(system.ln_p, cold)
    pure[:, H_COLD] = system.h_vap @ np.array([1.0, cold, cold**2])
    traces = np.empty((analytes, TRACE + solvents + solvents * solvents))
    traces[:, :4] = system.analyte_ln_p.reshape(analytes, 4)
    traces[:, KINETIC] = [film.kinetic_velocity(m) for m in system.analyte_molar_mass]
    traces[:, TRACE : TRACE + solvents] = system.analyte_ln_gamma.reshape(analytes, solvents)
    pairs = system.analyte_ln_gamma_pair.reshape(analytes, solvents * solvents)
    traces[:, TRACE + solvents :] = pairs
    return Liquid(
        pure=pure,
        pair=np.ascontiguousarray(
            np.stack([system.nrtl_a, system.nrtl_b, system.nrtl_alpha]), dtype=float
        ),
        traces=traces,
        table=_boiling_table(system.ln_p[0])[0] if solvents == 1 else np.empty((0, 2)),
    )


def pack_rig(system: LiquidSystem, equipment: Equipment, load: Load) -> Rig:
    """Evaporator and load as the kernels take them."""
    density = float(system.density[np.argmax(system.fraction)])
    acceleration = equipment.relative_centrifugal_force * spin.STANDARD_GRAVITY
    single = len(system.solvents) == 1
    _, ln_p0, ln_dp = _boiling_table(system.ln_p[0]) if single else (0.0, 0.0, 1.0)
    conductance = equipment.pump_speed_m3_per_s / equipment.chamber_volume_m3
    classes = vessel_classes(equipment.vessels)
    return Rig(
        vessels=equipment.vessels * classes.share,
        share=classes.share,
        place=classes.place,
        capacity=equipment.vessel_capacity_m3,
        full_area=heat_transfer.full_area(equipment.vessel_capacity_m3),
        rim_area=heat_transfer.rim_area(equipment.vessel_capacity_m3, equipment.heating),
        film_area=film.film_area(equipment.vessel_capacity_m3),
        gap_pressure=heat_transfer.GAP_PRESSURE if equipment.heating == "gas gap" else 0.0,
        power=equipment.condenser_power_w,
        t_cold=equipment.condenser_temperature_k,
        gas_moles=equipment.chamber_volume_m3 / (GAS_CONSTANT * GAS_TEMPERATURE),
        pump_moles=equipment.pump_speed_m3_per_s / (GAS_CONSTANT * GAS_TEMPERATURE),
        pump_rate=conductance,
        ramp_start=equipment.ramp_start_pressure_pa,
        ultimate=equipment.ultimate_pressure_pa,
        end_fraction=equipment.end_point_load_fraction,
        acceleration=acceleration,
        density=density,
        rise=spin.rise_velocity(density, acceleration),
        residue_volume=load.residue_kg / RESIDUE_DENSITY,
        control={"": 0, "time": 1, "weighing": 1, "cold tip": 2}[load.end_volume_control],
        max_time=load.max_run_time_s,
        keeper=len(system.solvents) - 1 if system.has_keeper else -1,
        ideal=not (np.any(system.nrtl_a) or np.any(system.nrtl_b)),
        ln_p0=ln_p0,
        ln_dp=ln_dp,
    )
