"""What the compiled benches know of a liquid and of the true evaporator; SI units.

Benches are drawn as :class:`Liquid` and :class:`Rig`; the kernels take them packed, because
many small arrays in a call cost more than the arithmetic.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from models.system import Array

Records = np.ndarray[Any, Any]  # structured arrays; fields are named in the packing functions


class Liquid(NamedTuple):
    """Solvents and analytes of a bench.

    ``antoine`` [S, 3]: ln(P/Pa) = a - b / (T + c). ``boil``, ``critical`` [S] K and
    ``h_boil`` [S] J/mol give the enthalpy of vaporisation by Watson's rule. ``margules``
    [S, S] two-suffix at 313.15 K. ``ln_p25`` [A] ln Pa and ``slope`` [A] K (dH/R) of the
    analytes, ``ln_gamma`` [A, S] at 313.15 K, ``residue_gamma`` [A], ``spike`` [A] mol,
    ``thermal`` [A] 1/s at 313.15 K, ``molar`` [A] kg/mol.
    """

    antoine: Array
    boil: Array
    critical: Array
    h_boil: Array
    molar_volume: Array
    heat_capacity: Array
    margules: Array
    ln_p25: Array
    slope: Array
    ln_gamma: Array
    residue_gamma: Array
    spike: Array
    thermal: Array
    molar: Array


class Rig(NamedTuple):
    """The true evaporator: what no job file tells.

    ``position`` [V] relative heat transfer, ``dry_volume`` [V] m3, ``warming`` [V] s;
    ``laws`` is (area law 0..2, gas gap 0/1, rule void below the condenser 0/1).
    """

    position: Array
    dry_volume: Array
    warming: Array
    laws: Array
    heat_transfer: float
    full_area: float
    capacity: float
    area_shape: float
    area_floor: float
    film_boiling: float
    glass: float
    wall_lag: float
    start_delay: float
    ramp_start: float
    pump: float
    chamber: float
    condenser_temperature: float
    condenser_power: float
    condenser_half: float
    condenser_warming: float
    load_lag: float
    end_share: float
    velocity_limit: float
    fill_limit: float
    enrichment: float
    enrichment_slope: float
    carry_over: float
    film_area: float
    diffusion_path: float
    accommodation: float
    residue: float
    activation: float
    max_time: float
    step: float = 1.0  # relative length of the integration steps


SOLVENT_FIELDS = ("boil", "critical", "h_boil", "molar_volume", "heat_capacity")
ANALYTE_FIELDS = ("ln_p25", "slope", "residue_gamma", "spike", "thermal", "molar")
VESSEL_FIELDS = ("position", "dry_volume", "warming")
LAW_FIELDS = ("area_law", "gas_gap", "void_rule")


class Packed(NamedTuple):
    """A :class:`Liquid` for the kernels.

    Records of the solvents (Antoine constants as a, b, c) and analytes, and the two tables.
    """

    solvents: Records
    analytes: Records
    margules: Array
    ln_gamma: Array


def _records(columns: dict[str, Array]) -> Records:
    count = len(next(iter(columns.values())))
    packed = np.zeros(count, dtype=[(name, "f8") for name in columns])
    for name, values in columns.items():
        packed[name] = values
    return packed


def pack_liquid(liquid: Liquid) -> Packed:
    """The liquid as the kernels take it."""
    antoine = dict(zip("abc", liquid.antoine.T, strict=True))
    return Packed(
        _records(antoine | {name: getattr(liquid, name) for name in SOLVENT_FIELDS}),
        _records({name: getattr(liquid, name) for name in ANALYTE_FIELDS}),
        np.ascontiguousarray(liquid.margules), np.ascontiguousarray(liquid.ln_gamma),
    )


def pack_rig(rig: Rig) -> tuple[Any, Records]:
    """The evaporator as one record of scalars, and records [V] of its vessels."""
    scalars = {name: np.array([float(value)]) for name, value in rig._asdict().items()
               if name not in (*VESSEL_FIELDS, "laws")}
    laws = {name: np.array([float(x)]) for name, x in zip(LAW_FIELDS, rig.laws, strict=True)}
    return (_records(scalars | laws)[0],
            _records({name: getattr(rig, name) for name in VESSEL_FIELDS}))
