"""Unit conversion at the edges, and the constants of the trade. Everything inside is SI."""

from __future__ import annotations

from typing import Final

GAS_CONSTANT: Final = 8.31446261815324  # J/(mol K), exact since the 2019 SI
ZERO_CELSIUS: Final = 273.15  # K
REFERENCE_TEMPERATURE: Final = 293.15  # K, volumes are given at 20 degC
ATMOSPHERE: Final = 101325.0  # Pa
MINUTE: Final = 60.0  # s
ML: Final = 1e-6  # m3
MG: Final = 1e-6  # kg
PA_PER_MBAR: Final = 100.0
PA_PER_UNIT: Final = {"mbar": 100.0, "hPa": 100.0, "kPa": 1000.0, "Pa": 1.0,
                      "Torr": 101325.0 / 760.0}
"""1 Torr is 101325/760 Pa by definition."""
TEMPERATURE_OFFSET: Final = {"°C": 0.0, "K": ZERO_CELSIUS}
"""A temperature in each unit less that in degC."""


def kelvin(celsius: float) -> float:
    """Convert degC to K."""
    return celsius + ZERO_CELSIUS


def celsius(kelvin: float) -> float:
    """Convert K to degC."""
    return kelvin - ZERO_CELSIUS


def pascal(mbar: float) -> float:
    """Convert mbar to Pa."""
    return mbar * PA_PER_MBAR


def mbar(pascal: float) -> float:
    """Convert Pa to mbar."""
    return pascal / PA_PER_MBAR
