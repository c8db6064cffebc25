"""Two liquids that boil together: published azeotropes, and what thermodynamics asks of them."""

from __future__ import annotations

import numpy as np
import pytest

from models.liquid_phases import ln_gamma
from models.mixture import build_system, describe_mixture
from models.quantities import kelvin
from models.substances import find_substance
from models.two_liquids import boiling_together, coexisting
from models.volatility import ln_pressure

ATM = 101325.0
AZEOTROPES = [
    # CRC Handbook of Chemistry and Physics, 44th ed., and Lange's Handbook, 10th ed., as listed
    # by "Azeotrope tables" (Wikipedia): other component, degC at 1 atm, % by weight of it
    ("chloroform", 56.1, 97.2), ("carbon tetrachloride", 66.8, 95.9),
    ("ethyl acetate", 70.4, 91.9), ("1-butanol", 92.4, 55.5),
    # the same tables, from memory, high confidence
    ("benzene", 69.3, 91.1), ("toluene", 84.1, 79.7), ("n-hexane", 61.6, 94.4),
]
TEMPERATURE_ERROR, SHARE_ERROR = 1.5, 0.03
"""K and mole fraction: UNIFAC's solubilities and the rounding of the tables."""


def pair(other):
    return build_system([("water", 0.5), (other, 0.5)], None, [])


@pytest.mark.parametrize(("other", "boils", "weight"), AZEOTROPES)
def test_water_and_what_hardly_mixes_with_it_boil_where_the_tables_say(other, boils, weight):
    parts = np.array([100.0 - weight, weight])
    moles = parts / [find_substance(n).molar_mass for n in ("water", other)]
    found = describe_mixture({"water": 0.5, other: 0.5}, ATM)["azeotrope"]
    assert found["temperature_c"] == pytest.approx(boils, abs=TEMPERATURE_ERROR)
    assert found["mole_fraction"]["water"] == pytest.approx(
        moles[0] / moles.sum(), abs=SHARE_ERROR)


@pytest.mark.parametrize("other", ["toluene", "n-hexane", "dichloromethane"])
@pytest.mark.parametrize("pressure", [ATM, 1e4])
def test_boiling_point_and_vapour_are_the_same_across_the_gap(other, pressure):
    """Phase rule: three phases of two components have one temperature at one pressure."""
    found = [describe_mixture({"water": x, other: 1.0 - x}, pressure) for x in (0.2, 0.5, 0.9)]
    assert np.ptp([f["bubble_point_c"] for f in found]) < 1e-5
    assert np.ptp([f["vapour_mole_fraction"]["water"] for f in found]) < 1e-6
    for f, x in zip(found, (0.2, 0.5, 0.9), strict=True):
        pure = np.exp(ln_pressure(pair(other).ln_p, kelvin(f["bubble_point_c"])))
        gamma, y = f["activity_coefficient"], f["vapour_mole_fraction"]
        assert x * gamma["water"] * pure[0] == pytest.approx(pressure * y["water"], rel=1e-5)
        assert pressure <= pure.sum() * (1 + 1e-9)  # no activity above 1 lasts
        assert any("boil together" in w for w in f["warnings"])


def test_both_liquids_have_the_same_activities():
    system, T = pair("1-butanol"), 330.0
    x = np.array([[v, 1.0 - v] for v in coexisting(system, T)])
    activity = x * np.exp(ln_gamma(system, x, T))
    np.testing.assert_allclose(activity[0], activity[1], rtol=1e-7)
    assert x[1, 0] - x[0, 0] > 0.3


def test_beside_the_gap_one_liquid_boils_as_before():
    found = describe_mixture({"water": 0.99, "1-butanol": 0.01}, ATM)
    assert found["bubble_point_c"] > describe_mixture(
        {"water": 0.8, "1-butanol": 0.2}, ATM)["bubble_point_c"] + 1.0
    assert not any("boil together" in w for w in found["warnings"])


@pytest.mark.parametrize("names", [("acetone", "n-hexane"), ("ethanol", "water")])
def test_what_mixes_has_no_two_liquids(names):
    system = build_system([(n, 0.5) for n in names], None, [])
    assert coexisting(system, 320.0) is None
    assert boiling_together(system, ATM, 340.0) is None
