"""One predicted run in contract units."""

from __future__ import annotations

import numpy as np
import pytest

from experiments import predicted_run as module
from experiments.job_file import parse
from experiments.predicted_run import predicted_run

SETTING = {"set_temperature_c": 50, "ramp_rate_mbar_per_min": 40, "end_pressure_mbar": 60}


@pytest.mark.parametrize("moments", [600, 12])
def test_the_trace_holds_the_peak_load_that_stands_beside_it(job, monkeypatch, moments):
    monkeypatch.setattr(module, "MOST_MOMENTS", moments)
    found = predicted_run(job, SETTING)
    shown = found["trace"]
    assert max(shown["condenser_load_w"]) == found["peak_condenser_load_w"] > 0.0
    assert len(shown["time_min"]) <= moments + 1
    assert np.all(np.diff(shown["time_min"]) >= 0.0)
    assert shown["time_min"][-1] >= found["run_time_min"] - 0.1


def test_the_end_that_is_stated_is_that_of_the_trace_beside_it(job_mapping):
    """Here the load comes back for a moment only, which a coarser step passes over."""
    job_mapping["equipment"] |= {
        "vessels": 8, "vessel_capacity_ml": 40, "relative_centrifugal_force": 129.8,
        "condenser_temperature_c": -10, "ramp_start_pressure_mbar": 400,
        "end_point_load_fraction": 0.03136, "end_point_hold_min": 1, "heating": "gas gap",
        "condenser_power_w": 200, "pump_speed_m3_per_h": 4.272, "chamber_volume_l": 34.34,
    }
    shares = {"chloroform": 0.171, "ethanol": 0.105, "acetone": 0.724}
    job_mapping["sample"] |= {
        "fill_volume_ml": 23.61, "residue_mg": 2, "max_temperature_c": 80,
        "solvents": [{"name": n, "volume_fraction": x} for n, x in shares.items()],
        "keeper": {"name": "n-nonane", "volume_ml": 0.774},
    }
    found = predicted_run(parse(job_mapping), {
        "set_temperature_c": 64.64, "ramp_rate_mbar_per_min": 150.88, "end_pressure_mbar": 48.17})
    stopped = found["trace"]["time_min"][-1]
    assert found["finished"] == (found["run_time_min"] is not None)
    assert found["finished"] != any("the run stops with" in f for f in found["findings"])
    assert found["run_time_min"] in (None, pytest.approx(stopped, abs=1e-6))
