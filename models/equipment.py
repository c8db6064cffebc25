"""Equipment and load of one batch as the run model sees them; SI units."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from models.system import Array

RESIDUE_DENSITY: Final = 1000.0  # kg/m3 (estimate)


@dataclass(frozen=True)
class Equipment:
    """A centrifugal vacuum evaporator.

    ``heating`` is "contact" or "gas gap". Unknown condenser power, pump speed and chamber
    volume are given usual values by the job layer, which marks them as assumed; their
    uncertainty is in the priors of :mod:`models.parameters`.
    """

    vessels: int
    vessel_capacity_m3: float
    relative_centrifugal_force: float
    condenser_temperature_k: float
    ramp_start_pressure_pa: float
    ultimate_pressure_pa: float
    end_point_load_fraction: float
    heating: str
    condenser_power_w: float
    pump_speed_m3_per_s: float
    chamber_volume_m3: float


@dataclass(frozen=True, eq=False)
class Load:
    """What sits in each vessel apart from the solvents.

    Attributes
    ----------
    residue_kg : non-volatile matrix left in a dry vessel
    spike_mol : [A] amount of each analyte
    end_volume_control : "cold tip", "weighing", "time" or "" (dry or down to the keeper)
    max_run_time_s : the run is given up then
    max_temperature_k : of the sample
    """

    residue_kg: float
    spike_mol: Array = field(default_factory=lambda: np.empty(0))
    end_volume_control: str = ""
    max_run_time_s: float = 4 * 3600.0
    max_temperature_k: float = 373.15
