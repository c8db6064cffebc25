"""A job of our own invention and dossiers of it, without looking up any property."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from typing import Any

import pytest

from experiments.dossier import Dossier
from experiments.job import EvaporationJob
from experiments.job_file import parse


def mapping() -> dict[str, Any]:
    return {
        "title": "Three esters from ethyl acetate",
        "seed": 5,
        "equipment": {
            "name": "Evaporator C", "vessels": 4, "vessel_capacity_ml": 60,
            "relative_centrifugal_force": 300, "rotor_radius_mm": 170,
            "condenser_temperature_c": -40, "condenser_capacity_ml": 900,
            "ramp_start_pressure_mbar": 600, "ultimate_pressure_mbar": 2,
            "end_point_load_fraction": 0.1, "end_point_hold_min": 2,
        },
        "factors": {
            "set_temperature_c": {"low": 30, "high": 60, "step": 1},
            "ramp_rate_mbar_per_min": {"low": 5, "high": 150},
            "end_pressure_mbar": {"low": 10, "high": 200},
        },
        "sample": {
            "fill_volume_ml": 30, "solvents": [{"name": "ethyl acetate", "volume_fraction": 1.0}],
            "end_volume_ml": 0, "max_temperature_c": 55,
        },
        "analytes": [
            {"name": "diethyl phthalate", "target_recovery_percent": 85},
            {"name": "1,2-dichlorobenzene", "target_recovery_percent": 40, "role": "watch"},
        ],
        "limits": {"max_run_time_min": 120, "handling_min": 20, "assurance": 0.95, "trials": 9,
                   "trials_per_batch": 3},
    }


@pytest.fixture
def job_mapping() -> dict[str, Any]:
    return mapping()


@pytest.fixture
def job() -> EvaporationJob:
    return parse(mapping(), chemistry=False)


def ticking() -> Callable[[], str]:
    """A clock that gains a second each time it is read."""
    seconds = count()
    return lambda: f"2026-03-02T08:{next(seconds) // 60:02d}:00.000+00:00"


@pytest.fixture
def setting() -> dict[str, float]:
    return {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 40.0}


@pytest.fixture
def dossier(job: EvaporationJob, setting: dict[str, float]) -> Dossier:
    """T1 and T2 pending, as if proposed."""
    made = Dossier.start(job, who="Ada", clock=ticking(), dossier_id="bench1")
    for i in range(2):
        made.note_event("proposed", {
            "trial": f"T{i + 1}", "setting": {**setting, "set_temperature_c": 45.0 + i},
            "reason": "worth it", "run_time_min": {}, "recovery_percent": {},
        })
    return made
