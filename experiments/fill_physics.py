"""Where the fill of a job boils and freezes, its keeper is stripped and its vapour is lost."""

from __future__ import annotations

import numpy as np

from experiments.job import EvaporationJob
from models.errors import ModelError
from models.mixture import breakthrough_pressure, bubble_point, bubble_pressure
from models.quantities import ML, celsius, kelvin, mbar
from models.system import Array, LiquidSystem
from models.volatility import pressure as saturation_pressure


def _composition(system: LiquidSystem, job: EvaporationJob) -> Array:
    """Mole fractions of the fill as it starts, without keeper."""
    moles = system.moles(job.sample.fill_volume_ml * ML, 0.0)
    return np.asarray(moles / moles.sum())


def boiling_point_c(system: LiquidSystem, job: EvaporationJob, pressure: float) -> float:
    """Temperature (degC) at which the fill boils at a pressure (Pa); nan: cannot be told."""
    try:
        return celsius(bubble_point(system, _composition(system, job), pressure).temperature)
    except ModelError:
        return float("nan")


def boiling_pressure_mbar(system: LiquidSystem, job: EvaporationJob, temperature: float) -> float:
    """Pressure (mbar) at which the fill boils at a temperature (K)."""
    return mbar(bubble_pressure(system, _composition(system, job), temperature))


def keeper_pressure_mbar(system: LiquidSystem, temperature: float) -> float:
    """Pressure (mbar) below which the keeper itself boils at a temperature (K)."""
    return mbar(float(saturation_pressure(system.ln_p[-1], temperature)))


def breakthrough_pressure_mbar(system: LiquidSystem, job: EvaporationJob) -> float:
    """Pressure (mbar) below which the fill's vapour passes the condenser."""
    cold = kelvin(job.equipment.condenser_temperature_c)
    return mbar(breakthrough_pressure(system, _composition(system, job), cold))


def freezing_point_c(system: LiquidSystem) -> float:
    """Freezing point of the main solvent, degC."""
    return celsius(float(system.freezing_temperature[int(np.argmax(system.fraction))]))
