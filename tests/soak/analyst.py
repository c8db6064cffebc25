"""A scripted analyst: writes to a store as fast as it can and says what was confirmed.

``python -m tests.soak.analyst STORE NAME SECONDS`` or, killed, less. Every confirmed save is one
line on standard output: the dossier, its revision and the hash of its last event.
"""

from __future__ import annotations

import random
import sys
import time
from itertools import count
from typing import Any

from experiments import service
from experiments.bootstrap import open_store
from experiments.job_file import parse
from experiments.users import User

ANALYTE = "diethyl phthalate"
JOB: dict[str, Any] = {
    "title": "Soak", "seed": 1,
    "equipment": {
        "name": "Evaporator S", "vessels": 4, "vessel_capacity_ml": 60,
        "relative_centrifugal_force": 300, "rotor_radius_mm": 170, "condenser_temperature_c": -40,
        "condenser_capacity_ml": 900, "ramp_start_pressure_mbar": 600,
        "ultimate_pressure_mbar": 2, "end_point_load_fraction": 0.1, "end_point_hold_min": 2,
    },
    "factors": {
        "set_temperature_c": {"low": 30, "high": 60},
        "ramp_rate_mbar_per_min": {"low": 5, "high": 150},
        "end_pressure_mbar": {"low": 10, "high": 200},
    },
    "sample": {
        "fill_volume_ml": 30, "solvents": [{"name": "ethyl acetate", "volume_fraction": 1.0}],
        "end_volume_ml": 0, "max_temperature_c": 55,
    },
    "analytes": [{"name": ANALYTE, "target_recovery_percent": 85}],
    "limits": {"max_run_time_min": 120, "assurance": 0.95, "trials": 9, "trials_per_batch": 3},
}
SETTING = {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 40.0}


def main(store: str, name: str, seconds: float, shared: str = "") -> None:
    """Save until the time is up; with ``shared``, every analyst writes to that dossier too."""
    session = service.Session(open_store(store), User(name))
    job = parse(JOB, chemistry=False)
    end = time.monotonic() + seconds
    own, thinking = "", random.Random(name)
    for n in count():
        if time.monotonic() > end:
            break
        start = time.perf_counter()
        if n % 25 == 0:
            dossier = service.create(session, job)
            own = dossier.id
        elif n % 5 == 4:
            dossier = service.correct(session, own, "T1", f"{name} {n}", run_time_min=30.0 + n)
        elif shared and n % 3 == 2:
            dossier = service.record(session, shared, setting=SETTING, run_time_min=20.0 + n,
                                     remark=f"{name} {n}")
        else:
            dossier = service.record(session, own, setting=SETTING, run_time_min=30.0 + n,
                                     recovery_percent={ANALYTE: [88.0 + n % 7]})
        took = time.perf_counter() - start
        line = f"{dossier.id} {len(dossier.events)} {dossier.events[-1].hash} {took:.6f}\n"
        sys.stdout.write(line)
        sys.stdout.flush()
        time.sleep(thinking.uniform(0.0, 0.05))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), *sys.argv[4:])
