"""What the equipment holds around a set point that the analyst does not vary."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from experiments.dossier import Dossier
from experiments.job_file import parse
from experiments.results_table import read_table

EXAMPLES = Path(__file__).parents[2] / "examples"
pytestmark = pytest.mark.slow


def test_a_fixed_temperature_drifts_as_a_varied_one_does():
    """Three kelvin above the fixed 60 degC the sample is warmer than it may be."""
    path = EXAMPLES / "new_analyte_with_keeper.toml"
    varied = Dossier.start(parse(path))
    mapping = tomllib.loads(path.read_text("utf-8"))
    mapping["factors"]["set_temperature_c"] = 60.0
    mapping["equipment"]["set_temperature_tolerance_c"] = 3.0
    dossier = Dossier.start(parse(mapping))
    table = (EXAMPLES / "new_analyte_with_keeper_trials.csv").read_bytes()
    for t in read_table(table, varied.job, varied.trials).trials:
        dossier.record(None, setting=t.setting, run_time_min=t.run_time_min, outcome=t.outcome,
                       recovery_percent=t.recovery_percent, day=t.day)
    at_the_edge = dossier.recommend(robust=False)
    assert at_the_edge.setting is not None
    assert at_the_edge.setting["set_temperature_c"] == 60.0
    warmer = {**at_the_edge.setting, "set_temperature_c": 63.0}
    assert dossier.forecast([warmer])[0].probability < dossier.job.limits.assurance
    answer = dossier.recommend()
    assert answer.status == "more trials needed"
    assert "tolerance" in answer.reason
