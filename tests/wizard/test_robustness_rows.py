"""What the robustness study says."""

from __future__ import annotations

import pytest

from experiments import example_dossiers
from experiments.job_file import parse
from experiments.robustness import Effect, Robustness, WorstCorner
from wizard.units import Units
from wizard.view_models.robustness_rows import (
    corner_lines,
    effect_lines,
    effect_rows,
    offer_sentence,
    verdict,
)

SETTING = {"set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 20.0, "end_pressure_mbar": 60.0}


def study(failed: tuple[str, ...] = ()) -> Robustness:
    effects = (
        Effect("set_temperature_c", 38.0, 42.0, "run time", -8.0, (-12.0, -4.0), -7.0, ""),
        Effect("set_temperature_c", 38.0, 42.0, "naphthalene", -3.0, (-7.0, 1.0), -2.5, ""),
    )
    corner = WorstCorner("naphthalene", 80.0, 74.5, 70.0, "holds",
                         "naphthalene is lowest: 80.0 %.")
    return Robustness(SETTING, ("T7", "T8"), effects, (corner,), failed)


def test_the_offer_tells_how_far_each_factor_is_moved_in_the_readers_units():
    job = parse(example_dossiers.names()[0].job)
    said = offer_sentence(job, SETTING, Units(pressure="kPa", temperature="K", decimal="comma"))
    assert "set temperature by ±2 K" in said
    assert "end pressure by ±0,5 kPa" in said  # to the 5 mbar that can be set
    assert said.startswith("6 runs")


@pytest.mark.parametrize(("failed", "starts"), [((), "Every target holds"),
                                                (("T7 ended as boil-over",), "Not every target")])
def test_a_run_that_went_wrong_speaks_against_the_setting(failed, starts):
    found = study(failed)
    assert verdict(found).startswith(starts)
    lines = corner_lines(found, Units(decimal="comma"))
    assert lines[-1] == "naphthalene is lowest: 80,0 %."
    assert lines[:-1] == [f"{f}." for f in failed]


def test_effects_are_drawn_for_recoveries_and_listed_for_all():
    found = study()
    (row,) = effect_rows(found)
    assert (row.response, row.verdict) == ("naphthalene, set temperature", "does not show")
    time, recovery = effect_lines(found, Units())
    assert time["verdict"] == "shows"
    assert time["effect (95 %)"] == "−8.0 % of it (−12.0 to −4.0)"
    assert time["from … to"] == "38 °C … 42 °C"
    assert recovery["effect (95 %)"] == "−3.0 points (−7.0 to +1.0)"
