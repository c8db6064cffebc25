"""Numbers and settings as a reader wants them: no more digits than they carry."""

from __future__ import annotations

import math

from experiments.job import Setting

UNITS = {
    "set_temperature_c": ("set temperature", "degC"),
    "ramp_rate_mbar_per_min": ("ramp rate", "mbar/min"),
    "end_pressure_mbar": ("end pressure", "mbar"),
    "keeper_volume_ml": ("keeper volume", "mL"),
    "end_volume_ml": ("end volume", "mL"),
    "end_point_hold_min": ("end-point hold", "min"),
    "keeper": ("keeper", ""),
}


def number(value: float | None, digits: int = 3) -> str:
    """A number to three significant digits, without exponents between 0.001 and 99 999.

    >>> number(41.2345), number(0.0123456), number(1234.5), number(None)
    ('41.2', '0.0123', '1234', '-')
    """
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size < -3 or size > 4:
        return f"{value:.{digits - 1}e}"
    return f"{value:.{max(digits - 1 - size, 0)}f}"


def percent(value: float) -> str:
    """A share as whole percent, never rounded up to certainty.

    >>> percent(0.9996), percent(0.953), percent(0.0004)
    ('> 99 %', '95 %', '< 1 %')
    """
    if value > 0.995:
        return "> 99 %"
    if value < 0.005:
        return "< 1 %"
    return f"{100 * value:.0f} %"


def factor_words(name: str) -> str:
    """A factor's name with its unit."""
    words, unit = UNITS[name]
    return f"{words}, {unit}" if unit else words


def value_words(value: float | str) -> str:
    """A setting's value; names stay as they are."""
    return value if isinstance(value, str) else f"{value:g}"


def setting_words(setting: Setting) -> str:
    """A setting in one line."""
    parts = []
    for name, value in setting.items():
        words, unit = UNITS[name]
        parts.append(f"{words} {value_words(value)}{f' {unit}' if unit else ''}")
    return ", ".join(parts)
