"""One predicted run in contract units: what happens from lid-close to stop."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from experiments.entries import check_setting
from experiments.job import EvaporationJob, Setting
from experiments.physics import PhysicsModel
from models.parameters import PARAMETERS
from models.quantities import MINUTE, ML, PA_PER_MBAR, ZERO_CELSIUS
from models.run_model import surviving_fraction
from models.run_trace import TRACE_TOLERANCE, RunTrace, trace
from models.system import Array

CLASS_NAMES = ("slowest", "slower", "faster")
MOST_MOMENTS = 600


def predicted_run(
    job: EvaporationJob, setting: Setting, z: Array | None = None,
    ln_volatility: Array | None = None, ceiling: Array | float = 1.0,
) -> dict[str, Any]:
    """Simulate one run.

    Parameters
    ----------
    job : the job
    setting : every free factor
    z : [K] standardised run-model parameters; the prior medians by default
    ln_volatility : [A] ln of the multipliers on volatility; zero by default
    ceiling : share that can come back at all, [A] or one for all

    Returns
    -------
    the contract's `simulate` keys, and `classes` with the three vessel positions' traces:
    temperature, volume and the share of each analyte still there; the trace holds the peak load
    """
    checked = check_setting(job, setting)
    physics = PhysicsModel(job)
    parameters = np.zeros(len(PARAMETERS)) if z is None else np.asarray(z, dtype=float)
    batch = physics.simulate([checked], parameters, TRACE_TOLERANCE)
    shift = np.zeros(len(job.analytes)) if ln_volatility is None else ln_volatility
    recovery = 100.0 * surviving_fraction(batch, physics.spike_mol, shift, ceiling)[0]
    run = trace(
        physics.system(physics.keepers([checked])[0]), physics.equipment, physics.load,
        physics.settings_array([checked])[0], parameters,
    )
    limit = job.limits.max_run_time_min
    minutes = float(batch.run_time[0]) / MINUTE
    finished = bool(batch.finished[0]) and minutes <= limit
    return {
        "setting": checked,
        "finished": finished,
        "run_time_min": minutes if finished else None,
        "recovery_percent": {
            a.name: float(r) for a, r in zip(job.analytes, recovery, strict=True)
        },
        "peak_condenser_load_w": float(run.condenser_load.max()),
        "boil_over": bool(batch.boil_over_index[0] > 1.0),
        "boil_over_index": float(batch.boil_over_index[0]),
        "findings": [
            *_held_up(job, checked), *([] if job.batches_in_trap else [job.trap_sentence]),
            *(f.sentence for f in run.findings)],
        "trace": _trace(run, job),
    }


def _held_up(job: EvaporationJob, setting: Setting) -> list[str]:
    """That the pump does not reach the end pressure, where it does not."""
    asked, ultimate = float(setting["end_pressure_mbar"]), job.equipment.ultimate_pressure_mbar
    return [f"The pressure stays at {ultimate:g} mbar, the ultimate pressure of the pump, and "
            f"never comes down to the {asked:g} mbar set."] if asked < ultimate else []


def _trace(run: RunTrace, job: EvaporationJob) -> dict[str, Any]:
    keep = _moments(run)
    minutes = run.time[keep] / MINUTE
    names = [a.name for a in job.analytes]
    return {
        "time_min": minutes.tolist(),
        "pressure_mbar": (run.pressure[keep] / PA_PER_MBAR).tolist(),
        "liquid_temperature_c": (run.temperature[keep, 1] - ZERO_CELSIUS).tolist(),
        "volume_ml": (run.mean_volume[keep] / ML).tolist(),
        "condenser_load_w": run.condenser_load[keep].tolist(),
        "classes": {
            name: {
                "temperature_c": (run.temperature[keep, k] - ZERO_CELSIUS).tolist(),
                "volume_ml": (run.volume[keep, k] / ML).tolist(),
                "left_percent": {
                    analyte: (100.0 * run.survival[keep, k, i]).tolist()
                    for i, analyte in enumerate(names)
                },
            }
            for k, name in enumerate(CLASS_NAMES)
        },
    }


def _moments(run: RunTrace) -> NDArray[np.int64]:
    """Rows to show: all, or an even choice of them with the peak load and the last."""
    count = len(run.time)
    even = np.linspace(0, count - 1, min(count, MOST_MOMENTS)).astype(int)
    return np.asarray(np.union1d(even, run.condenser_load.argmax()), dtype=np.int64)
