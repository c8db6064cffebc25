"""Display units: what is shown and what is kept are inverse, and sentences are translated."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wizard.units import (
    PRESSURE_UNITS,
    TEMPERATURE_UNITS,
    NotANumber,
    Units,
    figure,
    plain,
    read_number,
)

NAMES = ("end_pressure_mbar", "ramp_rate_mbar_per_min", "set_temperature_c", "fill_volume_ml",
         "set_temperature_tolerance_c")


@given(
    value=st.floats(-200, 1100), name=st.sampled_from(NAMES),
    pressure=st.sampled_from(PRESSURE_UNITS), temperature=st.sampled_from(TEMPERATURE_UNITS),
)
def test_what_is_typed_comes_back_as_it_was(value, name, pressure, temperature):
    units = Units(pressure, temperature)
    # ten significant digits are kept, of a number that was shifted by 273.15
    assert units.kept(name, units.shown(name, value)) == pytest.approx(value, abs=1e-6)


def test_pressures_against_the_definitions():
    # 1 atm = 101 325 Pa = 760 Torr exactly (BIPM, SI brochure, 9th edition, on non-SI units)
    assert Units("Torr").shown("end_pressure_mbar", 1013.25) == pytest.approx(760.0, rel=1e-12)
    assert Units("kPa").shown("end_pressure_mbar", 1013.25) == pytest.approx(101.325, rel=1e-12)
    assert Units("hPa").shown("end_pressure_mbar", 5.0) == 5.0


def test_a_temperature_difference_is_not_shifted():
    assert Units(temperature="K").shown("set_temperature_tolerance_c", 1.0) == 1.0
    assert Units(temperature="K").shown("set_temperature_c", 0.0) == 273.15


@pytest.mark.parametrize(("text", "value"), [
    ("12,5", 12.5), ("12.5", 12.5), (" 1 200 ", 1200.0), ("0,125", 0.125), ("-3", -3.0),
    (".5", 0.5), ("1e-3", 1e-3), ("1'500", 1500.0),
])
def test_numbers_with_either_decimal_sign(text, value):
    assert read_number(text) == value


def test_the_decimal_sign_of_numbers_is_the_readers_and_names_stay():
    text = "2.1 times; at −3.5 °C (1.0 to 12.25). Of bicyclo[2.2.1]heptane, 0.5 %, v1.67.0, 7.5."
    assert Units(decimal="comma").sign(text) == (
        "2,1 times; at −3,5 °C (1,0 to 12,25). Of bicyclo[2.2.1]heptane, 0,5 %, v1.67.0, 7,5.")
    assert Units().sign(text) == text


@pytest.mark.parametrize(("text", "said"), [
    ("1,234", "two ways"), ("12x", "not a number"), ("", "not a number"),
    ("1.2.3", "not a number"),
    ("1e999", "too large"), ("1e308", "too large"), ("9" * 200, "too large"),
    ("1,234,567", "not a number"), ("--2", "not a number"),
])
def test_what_cannot_be_read_is_said_with_a_cure(text, said):
    with pytest.raises(NotANumber, match=said) as caught:
        read_number(text)
    assert ": " in str(caught.value)


def test_sentences_follow_the_reader():
    units = Units("kPa", "K", "comma")
    assert units.sentence("Wall above 41 degC at 20 mbar, ramp 50 mbar/min, in 12.5 min.") == (
        "Wall above 314,15 K at 2 kPa, ramp 5 kPa/min, in 12,5 min."
    )
    assert units.sentence("between 20-30 mbar") == "between 2-3 kPa"
    assert Units().sentence("-45 degC") == "−45 °C"
    assert Units("Torr").sentence("T120 mbar2 and CAS 75-09-2") == "T120 mbar2 and CAS 75-09-2"


@given(st.floats(1e-6, 1e6))
def test_figures_keep_three_digits(value):
    text = figure(value)
    assert "e" not in text
    assert float(text) == pytest.approx(value, rel=5.1e-3)


@given(st.floats(1e-9, 1e9))
def test_plain_numbers_are_read_again_as_they_are(value):
    assert math.isclose(read_number(plain(value)), value, rel_tol=1e-2, abs_tol=1e-12)
    assert "e" not in plain(value)
