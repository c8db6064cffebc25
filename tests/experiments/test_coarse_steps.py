"""Pressure, end point and recoveries at the coarse steps of learning against fine ones."""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from experiments.job_file import parse
from experiments.job_simulator import LEARNING_TOLERANCE
from experiments.physics import PhysicsModel
from models.parameters import NAMES
from models.run_model import surviving_fraction
from models.run_trace import trace
from tests.models.random_jobs import job as random_job

EXAMPLES = Path(__file__).parents[2] / "examples"
RUNS = 1200
FINE = 1e-5
KINDS = [(1, False), (2, False), (2, True), (1, True)]  # solvents, keeper


@pytest.fixture(scope="module", params=[("acetone", "methanol"), ("n-hexane",)])
def runs(request):
    """Random settings and parameters of a job without keeper: coarse and fine; recoveries."""
    job_text = (EXAMPLES / "semivolatiles_to_dryness.toml").read_text("utf-8")
    mapping = tomllib.loads(job_text)
    names = request.param
    mapping["sample"]["solvents"] = [
        {"name": n, "volume_fraction": 1 / len(names)} for n in names]
    mapping["equipment"]["end_point_load_fraction"] = 0.02
    job = parse(mapping)
    rng = np.random.default_rng(3)
    settings = [{f.name: float(rng.uniform(f.low, f.high)) for f in job.factors}
                for _ in range(RUNS)]
    z = 0.8 * rng.standard_normal((RUNS, len(NAMES)))
    physics = PhysicsModel(job)
    both = [physics.simulate(settings, z, t) for t in (LEARNING_TOLERANCE, FINE)]
    left = [100.0 * surviving_fraction(b, physics.spike_mol, 0.0) for b in both]
    return both, left


def test_runs_end_at_the_time_of_fine_steps(runs):
    """Within 1 % in 99 of 100 runs; where one has an end, the other has it."""
    (coarse, fine), _ = runs
    off = np.abs(np.log(coarse.run_time / fine.run_time))
    assert np.nanquantile(off, 0.99) < 0.01
    assert (coarse.finished == fine.finished).mean() > 0.99


def test_recoveries_are_those_of_fine_steps(runs):
    """A late end point once cost volatile analytes up to 16 points."""
    (coarse, fine), left = runs
    off = np.abs(left[0] - left[1])[coarse.finished & fine.finished].max(axis=1)
    assert np.quantile(off, 0.9) < 1.0
    assert np.quantile(off, 0.99) < 2.0


def test_the_last_of_the_liquid_takes_its_share_along(runs):
    """A vessel is dry within a tolerance, and what boils off goes with the logarithm of what is
    left: without its last part a fifth of the loss was missing."""
    (coarse, fine), _ = runs
    ended = coarse.finished & fine.finished
    off = np.log(coarse.boil_exponent[ended] / fine.boil_exponent[ended])
    assert abs(np.median(off)) < 0.01
    assert np.quantile(np.abs(off), 0.9) < 0.03


def test_the_pressure_never_falls_below_its_end():
    """Where the ramp ended it left its schedule in three of these runs, and fell by a quarter."""
    rng = np.random.default_rng(8)
    for seed, (solvents, keeper) in product(range(100), KINDS):
        made = random_job(seed, solvents, keeper)
        z = 0.8 * rng.standard_normal(len(NAMES))
        course = trace(made.system, made.equipment, made.load, made.setting, z,
                       tolerance=LEARNING_TOLERANCE)
        end = max(made.setting[2], made.equipment.ultimate_pressure_pa)
        assert course.pressure.min() >= end * (1.0 - 1e-3)
