"""Runs at the coarse steps of learning against the same runs at fine ones."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from experiments.job_file import parse
from experiments.job_simulator import LEARNING_TOLERANCE
from experiments.physics import PhysicsModel
from models.parameters import NAMES
from models.quantities import kelvin

EXAMPLES = Path(__file__).parents[2] / "examples"
RUNS = 1200
FINE = 1e-5


@pytest.fixture(scope="module", params=["ethyl acetate", "ethyl acetate and n-hexane"])
def runs(request):
    """Random settings and parameters of a job with a keeper: coarse, fine, and the walls (K)."""
    mapping = tomllib.loads((EXAMPLES / "new_analyte_with_keeper.toml").read_text("utf-8"))
    names = request.param.split(" and ")
    mapping["sample"]["solvents"] = [
        {"name": n, "volume_fraction": 1 / len(names)} for n in names]
    job = parse(mapping)
    rng = np.random.default_rng(3)
    settings = [{f.name: float(rng.uniform(f.low, f.high)) for f in job.factors}
                for _ in range(RUNS)]
    z = rng.standard_normal((RUNS, len(NAMES)))
    physics = PhysicsModel(job)
    coarse, fine = (physics.simulate(settings, z, t) for t in (LEARNING_TOLERANCE, FINE))
    return coarse, fine, kelvin(np.array([s["set_temperature_c"] for s in settings]))


def test_no_liquid_gets_warmer_than_the_wall(runs):
    """The last of the solvent left the keeper in one step, and it came out at 130 degC."""
    coarse, _, wall = runs
    assert (coarse.peak_temperature <= wall + 0.5).all()


def test_what_survives_is_that_of_fine_steps(runs):
    """Within a point of recovery in 99 of 100 runs that both end."""
    coarse, fine, _ = runs
    ended = coarse.finished & fine.finished
    left = [(np.exp(-b.boil_exponent) * b.weights[:, None]).sum(axis=1) for b in (coarse, fine)]
    off = 100.0 * np.abs(left[0] - left[1])[ended].max(axis=1)
    assert np.quantile(off, 0.99) < 1.0
    assert (coarse.finished == fine.finished).mean() > 0.99
