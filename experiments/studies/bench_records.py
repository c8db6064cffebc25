"""What the compiled benches know of a liquid and of the true evaporator; SI units."""

from __future__ import annotations

from typing import NamedTuple

from models.system import Array


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
