"""A keeper smaller than what a dry vessel holds up still keeps, and more of it keeps more."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import pytest

from experiments.job_file import parse
from experiments.predicted_run import predicted_run

EXAMPLE = Path(__file__).parents[2] / "examples" / "new_analyte_with_keeper.toml"
SETTING = {"set_temperature_c": 56, "ramp_rate_mbar_per_min": 5, "end_pressure_mbar": 85}


@pytest.fixture(scope="module")
def recoveries():
    """By keeper volume in mL, none first."""
    job = tomllib.loads(EXAMPLE.read_text("utf-8"))
    found = {}
    for volume in (0.0, 0.001, 0.005, 0.01, 0.015, 0.02, 0.025, 0.04, 0.1, 0.3):
        changed = copy.deepcopy(job)
        changed["sample"]["keeper"]["volume_ml"] = volume
        if not volume:
            del changed["sample"]["keeper"]
        found[volume] = predicted_run(parse(changed), SETTING)["recovery_percent"]
    return found


@pytest.mark.parametrize("analyte", ["QX-17", "methyl salicylate"])
def test_recovery_rises_with_the_keeper_through_what_a_vessel_holds_up(recoveries, analyte):
    values = [found[analyte] for found in recoveries.values()]
    assert values == sorted(values)


def test_a_little_less_keeper_than_is_held_up_is_not_no_keeper(recoveries):
    """Half of the usual hold-up of 20 uL."""
    assert recoveries[0.01]["QX-17"] > recoveries[0.0]["QX-17"] + 5.0
