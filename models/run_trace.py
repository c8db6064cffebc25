"""One simulated run in time: pressure, temperatures, volumes, load, survival, findings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models import kernel_run as kernel
from models.equipment import Equipment, Load
from models.errors import Finding
from models.kernel_batch import trace_one
from models.kernel_data import CLASSES, pack_liquid, pack_rig
from models.kernel_space import NOW
from models.kernel_survival import survive
from models.run_findings import Stop, describe
from models.run_inputs import checked_inputs, film_solvent, molar_density
from models.system import Array, LiquidSystem

TRACE_TOLERANCE = 1e-5
MOST_ROWS = 6000


@dataclass(frozen=True, eq=False)
class RunTrace:
    """M moments of a run, with three vessel classes (slowest, slower, faster).

    Attributes
    ----------
    time, pressure, scheduled_pressure, condenser_load, boil_over_index : [M] s, Pa, Pa, W, 1
    temperature, volume : [M, 3] K, m3 of the liquid or the dry vessel
    mode : [M, 3] of ``models.kernel_space`` (heating, boiling, still, dry, frozen, tip)
    moles : [M, 3, S] mol of each solvent
    heat, vapour, vapour_enthalpy : [M, 3] J into the liquid, mol and J away with the vapour
    boil_exponent, film_dose, survival : [M, 3, A] as in ``RunBatch``; survival at
        volatility multiplier 1 without thermal loss
    thermal_dose : [M, 3] s at 313.15 K
    stop : how the run ended
    findings : what the reader should know, false ends among them
    """

    time: Array
    pressure: Array
    scheduled_pressure: Array
    condenser_load: Array
    boil_over_index: Array
    temperature: Array
    volume: Array
    mode: NDArray[np.int64]
    moles: Array
    heat: Array
    vapour: Array
    vapour_enthalpy: Array
    boil_exponent: Array
    film_dose: Array
    survival: Array
    thermal_dose: Array
    weights: Array
    stop: Stop
    findings: tuple[Finding, ...]

    @property
    def mean_volume(self) -> Array:
        """[M] m3, mean over the vessels."""
        return np.asarray(self.volume @ self.weights)


def trace(
    system: LiquidSystem,
    equipment: Equipment,
    load: Load,
    setting: Array,
    z: Array,
    *,
    tolerance: float = TRACE_TOLERANCE,
) -> RunTrace:
    """Follow one run in time.

    Parameters
    ----------
    system, equipment, load : as for ``run_model.simulate``
    setting : [7], columns of ``SETTING_COLUMNS``
    z : [K] standardised parameters
    tolerance : relative error allowed in a step; also sets how many moments there are

    Returns
    -------
    RunTrace

    Raises
    ------
    ModelError
        for inputs that cannot be
    """
    settings, theta = checked_inputs(setting, z, equipment)
    solvents, analytes = len(system.solvents), len(system.analytes)
    width = kernel.ROW_CLASS + solvents + 2 * analytes
    rows = np.empty((MOST_ROWS, kernel.ROW_HEAD + CLASSES * width))
    now = np.empty(NOW)
    rig = pack_rig(system, equipment, load)
    count = trace_one(
        settings[0], theta[0], molar_density(system), pack_liquid(system, equipment), rig,
        tolerance, now, rows,
    )
    head = rows[:count, : kernel.ROW_HEAD]
    body = rows[:count, kernel.ROW_HEAD :].reshape(count, CLASSES, width)
    first = kernel.ROW_CLASS + solvents
    exponent = body[:, :, first : first + analytes]
    film = body[:, :, first + analytes :]
    mode = body[:, :, 2].astype(np.int64)
    moles = body[:, :, kernel.ROW_CLASS : first]
    stop = Stop.from_kernel(now, settings[0], mode[-1], float(head[-1, 1]))
    return RunTrace(
        time=head[:, 0],
        pressure=head[:, 1],
        scheduled_pressure=head[:, 4],
        condenser_load=head[:, 2],
        boil_over_index=head[:, 3],
        temperature=body[:, :, 0],
        volume=body[:, :, 1],
        mode=mode,
        moles=moles,
        heat=body[:, :, 3],
        vapour=body[:, :, 4],
        vapour_enthalpy=body[:, :, 5],
        boil_exponent=exponent,
        film_dose=film,
        survival=_survival(exponent, film, film_solvent(system, load, settings)[0], load),
        thermal_dose=body[:, :, 6],
        weights=rig.share,
        stop=stop,
        findings=describe(stop, system, equipment, load, moles[[0, -1]]),
    )


def _survival(exponent: Array, film: Array, solvent: Array, load: Load) -> Array:
    """Surviving share [M, 3, A] at volatility multiplier 1 without thermal loss."""
    moments, _, analytes = exponent.shape
    out = np.empty((moments, CLASSES, analytes))
    flat = np.zeros((moments, analytes))
    cool = np.full((moments, analytes), -np.inf)
    dissolves = np.ascontiguousarray(np.broadcast_to(solvent, (moments, analytes)))
    spike = np.ascontiguousarray(load.spike_mol, dtype=float)
    for k in range(CLASSES):
        part = np.empty((moments, analytes))
        survive(np.ascontiguousarray(exponent[:, k : k + 1]),
                np.ascontiguousarray(film[:, k : k + 1]), np.zeros((moments, 1)), dissolves,
                np.ones(1), spike, flat, flat + 1.0, cool, part)
        out[:, k] = part
    return out
