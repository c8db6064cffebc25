"""The trace of a run shows the highest load of its condenser, however short it stands there."""

from __future__ import annotations

import numpy as np
import pytest
from random_jobs import job

from models.run_model import simulate
from models.run_trace import trace

BETWEEN = 2e-3
"""What may lie between two moments of a trace, relative to the peak: the height of a smooth
summit above its neighbours (seen: 0.0008), and 0.003 more for the coarser steps of a batch."""


@pytest.mark.parametrize("seed", range(24))
def test_a_trace_holds_the_peak_load_of_its_run(seed: int) -> None:
    """In a third of these the load drops at once where the ramp ends, from up to 7 times."""
    made = job(seed)
    given = made.system, made.equipment, made.load, made.setting, made.z
    followed = trace(*given)
    highest = followed.condenser_load.max()
    assert highest == pytest.approx(followed.stop.peak_load, rel=BETWEEN)
    assert highest == pytest.approx(simulate(*given).peak_load[0], rel=BETWEEN + 3e-3)
    assert np.all(np.diff(followed.time) >= 0.0)


def test_both_sides_of_a_jump_are_rows_of_one_moment() -> None:
    """Temperatures and volumes do not jump with the load."""
    made = job(0)
    followed = trace(made.system, made.equipment, made.load, made.setting, made.z)
    (twice,) = np.nonzero((np.diff(followed.time) == 0.0)
                          & (np.diff(followed.condenser_load) < 0.0))[0][:1]
    load = followed.condenser_load
    assert load[twice] == load.max() > 5.0 * load[twice + 1]
    for quantity in (followed.pressure, followed.temperature, followed.volume):
        assert quantity[twice] == pytest.approx(quantity[twice + 1], rel=1e-6)
