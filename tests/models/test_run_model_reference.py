"""The compiled run model against an independent solution of the same equations.

The reference is written for the tests with ``scipy.integrate.solve_ivp`` and shares no kernel;
it shows that the equations are solved, not that they are the right ones.
"""

from __future__ import annotations

import numpy as np
import pytest
from random_jobs import job
from reference_run import ReferenceRun

from models.run_model import simulate, surviving_fraction

CASES = [
    *((seed, 1, False) for seed in range(20)),
    *((seed, 1, True) for seed in range(8)),
    *((seed, 2, False) for seed in range(8)),
]


@pytest.mark.parametrize(("seed", "solvents", "keeper"), CASES)
def test_run_time_and_recovery_match_the_reference(seed, solvents, keeper):
    """Run time within 0.5 %, recovery within 0.2 percentage points, same kind of end."""
    case = job(seed, solvents, keeper)
    batch = simulate(case.system, case.equipment, case.load, case.setting[None], case.z[None])
    reference = ReferenceRun(
        case.system, case.equipment, case.load, case.setting, case.z
    ).solve()
    assert bool(batch.finished[0]) == reference.finished
    if reference.finished:
        assert batch.run_time[0] == pytest.approx(reference.run_time, rel=5e-3)
    recovery = surviving_fraction(batch, case.load.spike_mol, np.zeros(3))[0]
    assert recovery == pytest.approx(reference.survival, abs=2e-3)
