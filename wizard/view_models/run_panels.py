"""A predicted run as panels, moments and a sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from experiments.job import EvaporationJob
from wizard.units import Units

DRY_ML = 0.02
NOTHING_LOST_PERCENT = 99.0


def run_panels(run: Mapping[str, Any], units: Units) -> dict[str, list[float | None]]:
    """Title with unit -> values over the run's moments, in the reader's units."""
    trace = run["trace"]
    return {
        f"pressure, {units.pressure}": _shown(trace["pressure_mbar"], "_mbar", units),
        f"liquid temperature, {units.temperature}":
            _shown(trace["liquid_temperature_c"], "_c", units),
        "volume in a vessel, mL": list(trace["volume_ml"]),
        "condenser load, W": list(trace["condenser_load_w"]),
    }


def _shown(values: Sequence[float | None], name: str, units: Units) -> list[float | None]:
    return [None if v is None else units.shown(name, v) for v in values]


def run_events(run: Mapping[str, Any]) -> dict[str, float]:
    """Moments worth marking: when the middle vessel is dry, when the run ends."""
    trace = run["trace"]
    found: dict[str, float] = {}
    dry = max(DRY_ML, 0.005 * float(trace["volume_ml"][0]))
    for time, volume in zip(trace["time_min"], trace["volume_ml"], strict=True):
        if volume <= dry:
            found["dry"] = float(time)
            break
    end = run["run_time_min"]
    if end is not None and ("dry" not in found or end - found["dry"] > 0.03 * end):
        found["run ends"] = float(end)
    return found


def run_sentence(run: Mapping[str, Any], job: EvaporationJob, units: Units) -> str:
    """How the run goes, in one or two sentences."""
    last = float(run["trace"]["time_min"][-1])
    if run["run_time_min"] is not None:
        text = f"The run ends after about {run['run_time_min']:.0f} min."
    elif last < job.limits.max_run_time_min:
        left = float(run["trace"]["volume_ml"][-1])
        text = (f"The run stops after about {last:.0f} min and is not done: {left:.2g} mL are "
                "left in a vessel.")
    else:
        text = f"The run is not done within {job.limits.max_run_time_min:g} min."
    low = min(run["recovery_percent"].items(), key=lambda item: item[1], default=None)
    if low is not None and low[1] > NOTHING_LOST_PERCENT:
        text += " Hardly anything is lost."
    elif low is not None:
        text += f" The largest loss is of {low[0]}: {low[1]:.0f} % comes back."
    if run["boil_over"]:
        text += " Liquid is thrown out on the way."
    return units.sentence(text)
