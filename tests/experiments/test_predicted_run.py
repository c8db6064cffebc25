"""One predicted run in contract units."""

from __future__ import annotations

import numpy as np
import pytest

from experiments import predicted_run as module
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
