"""Simulate batches of the centrifugal vacuum evaporator, from lid-close to stop.

The physics is in the kernels, one subject a module, each with its sources:
:mod:`models.kernel_slopes` (energy, vapour and pressure balances),
:mod:`models.kernel_liquid` (vapour-liquid equilibrium), :mod:`models.kernel_losses` and
:mod:`models.film` (analytes), :mod:`models.heat_transfer`, :mod:`models.condenser`,
:mod:`models.spin`, :mod:`models.kernel_events` (ends, false ends), and
:mod:`models.kernel_step` (integration).

A run is integrated once for all analytes: traces do not change how the solvent boils, so
their multipliers enter afterwards, in :func:`surviving_fraction`.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models import kernel_space as kernel
from models.equipment import Equipment, Load
from models.kernel_batch import run_block
from models.kernel_data import CLASSES, Liquid, Rig, pack_liquid, pack_rig
from models.kernel_survival import survive
from models.run_inputs import SETTING_COLUMNS as SETTING_COLUMNS
from models.run_inputs import checked_inputs, film_solvent, molar_density
from models.run_trace import RunTrace as RunTrace
from models.run_trace import trace as trace
from models.system import Array, LiquidSystem

TOLERANCE: Final = 1.5e-4
"""Relative error allowed in a step; run times are then within 0.5 %, recoveries within 0.2
percentage points of the exact solution of the model's equations, where analytes half survive
too (`tests/models/test_run_model_reference.py`). At 1e-3 one run in six misses by more."""

SHORTEST_BLOCK: Final = 32  # runs worth a thread


@dataclass(frozen=True, eq=False)
class RunBatch:
    """Results of N runs with three vessel classes (slowest, slower, faster) and A analytes.

    Attributes
    ----------
    run_time : [N] s from lid-close to stop, nan when not finished
    finished : [N] bool, the end point was reached in time and the vessels are dry, down to
        the keeper or at their end volume
    boil_over_index : [N] highest value; above 1 liquid is thrown out
    peak_load : [N] W, of the condenser
    boil_exponent : [N, 3, A] -ln(survival) while there was liquid, at volatility multiplier 1
    film_dose : [N, 3, A] mol a pure film would have lost, at volatility multiplier 1
    film_moles : [N, A] mol of residue and keeper in which the film is dissolved
    thermal_dose : [N, 3] s at 313.15 K with an activation energy of 90 kJ/mol
    final_volume : [N, 3] m3
    peak_temperature : [N] K, of the sample
    weights : [3] share of the vessels in each class
    dry_time : [N, 3] s when a class fell dry, nan where it did not
    false_end : [N] bool, the load rule stopped the run with liquid left
    frozen : [N] bool, a vessel froze
    breakthrough : [N] bool, at end pressure the vapour passes the condenser
    vapour_time : [N, 3] s from lid-close until the first class boils, until half and until nine
        tenths of the solvents are vapour; inf where it does not come to that
    """

    run_time: Array
    finished: NDArray[np.bool_]
    boil_over_index: Array
    peak_load: Array
    boil_exponent: Array
    film_dose: Array
    film_moles: Array
    thermal_dose: Array
    final_volume: Array
    peak_temperature: Array
    weights: Array
    dry_time: Array
    false_end: NDArray[np.bool_]
    frozen: NDArray[np.bool_]
    breakthrough: NDArray[np.bool_]
    vapour_time: Array


@lru_cache(maxsize=1)
def _workers() -> int:
    available = (
        len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    )
    return max(1, available or 1)


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(_workers(), thread_name_prefix="run-model")


def simulate(
    system: LiquidSystem,
    equipment: Equipment,
    load: Load,
    settings: Array,
    z: Array,
    *,
    tolerance: float = TOLERANCE,
) -> RunBatch:
    """Run N batches.

    Parameters
    ----------
    system, equipment, load : what is the same for all runs
    settings : [N, 7] or [7], columns of ``SETTING_COLUMNS``
    z : [N, K] or [K] standardised parameters of :mod:`models.parameters`
    tolerance : relative error allowed in an integration step

    Returns
    -------
    RunBatch

    Raises
    ------
    ModelError
        for inputs that cannot be (see :func:`checked_inputs`)
    """
    settings, theta = checked_inputs(settings, z, equipment)
    n, a = len(settings), len(system.analytes)
    liquid, rig = pack_liquid(system, equipment), pack_rig(system, equipment, load)
    density = molar_density(system)
    outputs = (
        np.empty((n, CLASSES, a)), np.empty((n, CLASSES, a)), np.empty((n, CLASSES)),
        np.empty((n, CLASSES)), np.empty((n, CLASSES)), np.empty((n, kernel.NOW)),
    )
    _run_blocks(settings, theta, density, liquid, rig, tolerance, outputs)
    exponent, film, dose, volume, dry, now = outputs
    false_end = now[:, kernel.FALSE_END] > 0.5
    finished = (now[:, kernel.STOPPED] > 0.5) & ~false_end
    return RunBatch(
        run_time=np.where(finished, now[:, kernel.TIME], np.nan),
        finished=finished,
        boil_over_index=now[:, kernel.INDEX],
        peak_load=now[:, kernel.PEAK],
        boil_exponent=exponent,
        film_dose=film,
        film_moles=film_solvent(system, load, settings),
        thermal_dose=dose,
        final_volume=volume,
        peak_temperature=now[:, kernel.WARMEST],
        weights=rig.share,
        dry_time=dry,
        false_end=false_end,
        frozen=now[:, kernel.FROZE] > 0.5,
        breakthrough=now[:, kernel.THROUGH] > 0.5,
        vapour_time=now[:, [kernel.BOILED, kernel.HALF, kernel.MOST]],
    )


def _run_blocks(
    settings: Array, theta: Array, density: Array, liquid: Liquid, rig: Rig, tolerance: float,
    outputs: tuple[Array, ...],
) -> None:
    """Share the runs among threads; the kernels hold no lock and no common state."""
    n = len(settings)
    blocks = max(1, min(8 * _workers(), n // SHORTEST_BLOCK))
    edges = np.linspace(0, n, blocks + 1).astype(int)

    def work(low: int, high: int) -> None:
        part = slice(low, high)
        run_block(settings[part], theta[part], density, liquid, rig, tolerance,
                  *(array[part] for array in outputs))

    if blocks == 1:
        work(0, n)
        return
    for done in [_pool().submit(work, a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]:
        done.result()


def surviving_fraction(
    batch: RunBatch,
    spike_mol: Array,
    ln_volatility: Array,
    ceiling: Array | float = 1.0,
    ln_thermal_rate: Array | float = -np.inf,
) -> Array:
    """Mean surviving fraction over the vessels, [N, A], between 0 and the ceiling.

    The exponent of boiling and the dose of the film are proportional to the volatility; the
    film then follows its closed form (:func:`models.film.film_left`) with the residue, a keeper
    and the other spikes as the solvent; thermal loss is of first order.

    Parameters
    ----------
    batch : N runs
    spike_mol : [A] mol
    ln_volatility : [A] or [N, A], ln of the multiplier on gamma P
    ceiling : scalar, [A] or [N, A], the share that can come back at all
    ln_thermal_rate : scalar, [A] or [N, A], ln of the rate (1/s) at 313.15 K
    """
    shape = batch.boil_exponent.shape[0], batch.boil_exponent.shape[2]

    def full(values: Array | float) -> Array:
        return np.ascontiguousarray(np.broadcast_to(np.asarray(values, dtype=float), shape))

    out = np.empty(shape)
    spike = np.ascontiguousarray(spike_mol, dtype=float)
    survive(batch.boil_exponent, batch.film_dose, batch.thermal_dose, batch.film_moles,
            batch.weights, spike, full(ln_volatility), full(ceiling), full(ln_thermal_rate), out)
    return out
