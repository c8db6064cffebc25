"""Display units: the only place where the screen's numbers differ from the contract's.

The contract keeps pressures in mbar and temperatures in degC. What the reader sees may be in
another unit; what is typed comes back here before anything is stored.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from models.quantities import PA_PER_MBAR, PA_PER_UNIT, TEMPERATURE_OFFSET

MBAR_PER_UNIT = {u: PA_PER_UNIT[u] / PA_PER_MBAR for u in ("mbar", "hPa", "kPa", "Torr")}
PRESSURE_UNITS = tuple(MBAR_PER_UNIT)
TEMPERATURE_UNITS = tuple(TEMPERATURE_OFFSET)
DECIMAL_SIGNS = ("point", "comma")


QUANTITY = re.compile(
    r"(?<![\w.])([-−]?\d+(?:\.\d+)?)(?:(\s*(?:-|–|to|and)\s*)(\d+(?:\.\d+)?))? "
    r"(mbar/min|mbar|degC|°C)(?![\w])"
)
"""A number, or two, before a unit that the reader may want changed."""
DECIMAL = re.compile(r"(?<![\w.\[])(?<!\w-)(\d+)\.(\d+)(?![\w\]]|\.\d|-\w)")
"""A decimal number that is no part of a name or a version."""


class NotANumber(ValueError):
    """Text that cannot be read as one number; the message holds the cure."""


@dataclass(frozen=True)
class Units:
    """What the reader chose: a pressure unit, a temperature unit and a decimal sign."""

    pressure: str = "mbar"
    temperature: str = "°C"
    decimal: str = "point"

    def unit(self, name: str) -> str:
        """The unit shown for a quantity named with its contract unit (``end_pressure_mbar``)."""
        if name.endswith("_mbar_per_min"):
            return f"{self.pressure}/min"
        if name.endswith("_mbar"):
            return self.pressure
        if name.endswith("_c"):
            return self.temperature
        for ending, unit in PLAIN_UNITS:
            if name.endswith(ending):
                return unit
        return ""

    def shown(self, name: str, value: float) -> float:
        """A contract value in the unit the reader chose."""
        if name.endswith(("_mbar", "_mbar_per_min")):
            return value / MBAR_PER_UNIT[self.pressure]
        if name.endswith("_tolerance_c"):
            return value
        if name.endswith("_c"):
            return value + TEMPERATURE_OFFSET[self.temperature]
        return value

    def kept(self, name: str, value: float) -> float:
        """The contract value of what the reader typed; the inverse of :meth:`shown`."""
        if name.endswith(("_mbar", "_mbar_per_min")):
            kept = value * MBAR_PER_UNIT[self.pressure]
        elif name.endswith("_c") and not name.endswith("_tolerance_c"):
            kept = value - TEMPERATURE_OFFSET[self.temperature]
        else:
            return value
        return float(f"{kept:.10g}")

    def text(self, name: str, value: float | str | None, digits: int = 3) -> str:
        """A contract value as text with its unit, e.g. ``41 °C``; a dash when there is none."""
        if value is None:
            return "–"
        if isinstance(value, str):
            return value
        unit = self.unit(name)
        shown = self.shown(name, value)
        number = self.temperature_text(shown) if name.endswith("_c") else figure(shown, digits)
        return self.sign(f"{number} {unit}".strip())

    def number(self, value: float, digits: int = 3) -> str:
        """A bare number with the reader's decimal sign."""
        return self.sign(figure(value, digits))

    def sign(self, text: str) -> str:
        """Text whose numbers have the reader's decimal sign; names such as [2.2.1] stay."""
        return re.sub(DECIMAL, r"\1,\2", text) if self.decimal == "comma" else text

    def sentence(self, text: str) -> str:
        """A sentence of the record with its pressures and temperatures in the reader's units."""
        said = re.sub(QUANTITY, self._said, text).replace("degC", "°C")
        return self.sign(minus(said))

    def _said(self, found: re.Match[str]) -> str:
        first, joint, second, unit = found.groups()
        name = {"mbar": "_mbar", "mbar/min": "_mbar_per_min"}.get(unit, "_c")
        if self.unit(name) == unit:
            return found[0]
        numbers = [self._again(name, first)]
        if second:
            numbers += [joint, self._again(name, second)]
        return f"{''.join(numbers)} {self.unit(name)}"

    def _again(self, name: str, text: str) -> str:
        shown = self.shown(name, float(text.replace("−", "-")))
        digits = max(3, len(text.replace(".", "").strip("-−0")))
        return self.temperature_text(shown) if name == "_c" else figure(shown, digits)

    def temperature_text(self, value: float) -> str:
        """To 0.1 degree where that is needed, else to a full degree; kelvins to the hundredth.

        Full degrees Celsius end in .15 K, and must come back as typed.
        """
        if self.temperature == "K":
            return f"{value:.2f}"
        return minus(f"{value:.0f}" if abs(value - round(value)) < 0.05 else f"{value:.1f}")


LARGEST = 1e100
"""Beyond it a number could become infinite in another unit."""
PLAIN_UNITS = (
    ("_ml", "mL"),
    ("_min", "min"),
    ("_percent", "%"),
    ("_l", "L"),
    ("_w", "W"),
    ("_mm", "mm"),
    ("_mg", "mg"),
    ("_ug", "µg"),
    ("_pa", "Pa"),
    ("_m3_per_h", "m³/h"),
    ("_g_per_mol", "g/mol"),
)


def figure(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, without an exponent or trailing zeros.

    >>> figure(0.012345), figure(123.4), figure(1234.5)
    ('0.0123', '123', '1230')
    """
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    rounded = round(value, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{rounded:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def minus(text: str) -> str:
    """Text with the minus sign of print where a hyphen stood before a number.

    >>> minus("-3.5 (-8.1 to +1.0), 2-methylnaphthalene, 70-80 %")
    '−3.5 (−8.1 to +1.0), 2-methylnaphthalene, 70-80 %'
    """
    return re.sub(r"(?<![\w)])-(?=\d)", "−", text)


def change_text(gap: float, unit: str) -> str:
    """A difference in whole units, "same" below half of one.

    >>> change_text(-3.2, "min"), change_text(1.0, "points"), change_text(0.4, "points")
    ('−3 min', '+1 point', 'same')
    """
    word = unit.removesuffix("s") if abs(round(gap)) == 1 else unit
    return "same" if abs(gap) < 0.5 else minus(f"{gap:+.0f} {word}")


def plain(value: float) -> str:
    """A number as it would be typed, all its digits and no exponent.

    >>> plain(41.0), plain(0.05), plain(2.5)
    ('41', '0.05', '2.5')
    """
    text = f"{value:.10g}"
    return f"{value:.12f}".rstrip("0").rstrip(".") if "e" in text else text


def read_number(text: str) -> float:
    """Read one typed number with either decimal sign.

    Raises
    ------
    NotANumber
        When the text is no number, or can be read in two ways such as ``1,234``.

    >>> read_number("12,5"), read_number(" 0.5 "), read_number("1 200")
    (12.5, 0.5, 1200.0)
    """
    bare = re.sub(r"[\s\u00a0\u202f']", "", text)
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", bare) and not bare.lstrip("+-").startswith("0"):
        plainly = bare.replace(",", "")
        raise NotANumber(
            f"“{text.strip()}” can be read in two ways: write {plainly} "
            f"or {bare.replace(',', '.').rstrip('0').rstrip('.')}."
        )
    if not re.fullmatch(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", bare):
        raise NotANumber(f"“{text.strip()}” is not a number: write it as 12.5 or 12,5.")
    value = float(bare.replace(",", "."))
    if not abs(value) <= LARGEST:
        raise NotANumber(
            f"“{text.strip()[:40]}” is too large: write a number the equipment knows.")
    return value
