"""The route that the speed of the run model is compared with solves the same problem."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments.studies.run_speed import Speed, case, compiled, main
from experiments.studies.scipy_route import ScipyRun
from models.run_model import simulate, surviving_fraction


@pytest.mark.slow
def test_the_scipy_route_agrees_where_the_pressure_keeps_to_its_schedule():
    """Run time within 0.5 %, recovery within 0.5 points: a strong condenser, no false end.

    Half a point leaves room for moments at which the pressure floats all the same.
    """
    made = case(5, seed=5)
    strong = replace(made.equipment, condenser_power_w=20_000.0, condenser_temperature_k=200.0,
                     pump_speed_m3_per_s=5e-3, end_point_load_fraction=0.01)
    z = 0.5 * made.z
    batch = simulate(made.system, strong, made.load, made.settings, z)
    recovery = surviving_fraction(batch, made.load.spike_mol, np.zeros(3))
    assert batch.finished.sum() >= 3
    for i in np.flatnonzero(batch.finished):
        found = ScipyRun(made.system, strong, made.load, made.settings[i], z[i]).solve()
        assert found.run_time == pytest.approx(batch.run_time[i], rel=0.005)
        assert found.survival == pytest.approx(recovery[i], abs=0.005)


def test_the_ratio_is_a_time_a_run_over_a_time_a_run():
    assert Speed(1000, 2, 0.5, 0.9, 0.9, 1.0).ratio == pytest.approx(2000.0)


def test_most_runs_that_are_timed_end():
    batch, _ = compiled(case(512))
    assert batch.finished.mean() > 0.6


def test_the_command_prints_both_figures(capsys):
    main(["--runs", "64", "--scipy", "1"])
    told = capsys.readouterr().out
    assert "64 runs of 3 analytes took" in told
    assert "of processor time" in told
    assert "times longer" in told
