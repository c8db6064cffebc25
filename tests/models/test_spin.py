"""Formulas of rotation against closed forms."""

from __future__ import annotations

import math

import pytest

from models.spin import angular_velocity, hydrostatic_pressure, relative_centrifugal_force


@pytest.mark.parametrize(
    ("radius", "rpm", "expected"), [(0.10, 1000, 111.8), (0.10, 12000, 16099)]
)
def test_relative_centrifugal_force(radius, rpm, expected):
    """1.118e-5 r(cm) rpm^2, the constant of two public packages (CHECKS H3, grade A)."""
    assert relative_centrifugal_force(radius, rpm) == pytest.approx(expected, rel=1e-3)


def test_hydrostatic_pressure_in_rotation():
    """Water, 0.10 to 0.13 m at 1500 rpm: 85.1 kPa (CHECKS H4, closed form)."""
    omega = 1500 * 2 * math.pi / 60
    assert hydrostatic_pressure(1000.0, omega, 0.10, 0.13) == pytest.approx(85.1e3, rel=1e-3)


def test_angular_velocity_inverts_the_force():
    omega = angular_velocity(350.0, 0.18)
    assert relative_centrifugal_force(0.18, omega * 60 / (2 * math.pi)) == pytest.approx(350.0)
