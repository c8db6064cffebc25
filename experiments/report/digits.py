"""Numbers in words: never more digits than the error supports, always with a unit."""

from __future__ import annotations

import math
import re

from experiments.answers import Interval
from experiments.job import DEFAULT_STEP, FACTOR_WORDS, EvaporationJob, Setting

NONE = "–"
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
MINUS = re.compile(r"(?<![^\s(±])-(?=\d)")
"""A hyphen before a number that stands by itself."""
AREA_OR_VOLUME = re.compile(r"(?<![\w-])m([23])(?![\w-])")
"""A square or cubic metre that is no part of a name."""


def decimals_for(error: float) -> int:
    """Decimals that show an error with two digits at most (one from 3 on).

    >>> decimals_for(4.2), decimals_for(0.12), decimals_for(25.0)
    (0, 2, 0)
    """
    if not (math.isfinite(error) and error > 0.0):
        return 1
    exponent = math.floor(math.log10(error))
    leading = error / 10**exponent
    return max(0, -exponent + (1 if leading < 3.0 and exponent < 0 else 0))


def value(number: float | None, decimals: int = 1) -> str:
    """A number with that many decimals, a dash when there is none.

    >>> value(None), value(12.345), value(-0.04)
    ('–', '12.3', '0.0')
    """
    if number is None or not math.isfinite(number):
        return NONE
    text = f"{number:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text.replace("-", "−")


def plain(number: float) -> str:
    """A number the user typed, as he typed it, with a real minus.

    >>> plain(-45.0), plain(0.3)
    ('−45', '0.3')
    """
    return f"{number:g}".replace("-", "−")


def printed(text: str) -> str:
    """A sentence of the core with its signs and units as a report prints them.

    >>> printed("wall above -38 degC, 2-pentanone, QX-m3, 3 m3")
    'wall above −38 °C, 2-pentanone, QX-m3, 3 m³'
    """
    text = AREA_OR_VOLUME.sub(lambda m: "m²" if m[1] == "2" else "m³", text.replace("degC", "°C"))
    return MINUS.sub("−", text)


def figures(number: float | None, digits: int = 3) -> str:
    """A number with significant digits, without an exponent where that is readable.

    >>> figures(1234.5), figures(0.01234), figures(3.2e-7)
    ('1230', '0.0123', '3.2×10⁻⁷')
    """
    if number is None or not math.isfinite(number):
        return NONE
    if number == 0.0:
        return "0"
    if not 1e-4 <= abs(number) < 1e6:
        mantissa, exponent = f"{number:.{digits - 1}e}".split("e")
        mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
        power = str(int(exponent)).translate(RAISED)
        return f"{mantissa}×10{power}".replace("-", "−")
    rounded = round(number, digits - 1 - math.floor(math.log10(abs(number))))
    places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
    return f"{rounded:.{places}f}".replace("-", "−")


def interval(found: Interval) -> str:
    """Mean with its interval, as many decimals as half its width supports, three figures at most.

    >>> interval(Interval(98.2, 96.1, 99.7)), interval(Interval(100.0, 99.9, 100.0))
    ('98 (96 to 100)', '100 (100 to 100)')
    """
    places = min(1, decimals_for(0.5 * (found.high - found.low)))
    if max(abs(found.high), abs(found.mean)) >= 99.95:
        places = 0
    text = f"{value(found.mean, places)} ({value(found.low, places)} to "
    return f"{text}{value(found.high, places)})"


def factor_name(name: str) -> str:
    """The factor in words."""
    return FACTOR_WORDS.get(name, (name, ""))[0]


def factor_unit(name: str) -> str:
    """The unit of a factor."""
    return FACTOR_WORDS.get(name, ("", ""))[1]


def factor_value(job: EvaporationJob, name: str, number: float | str) -> str:
    """A factor's value to what the equipment can dial."""
    if isinstance(number, str):
        return number
    step = next((f.resolution for f in job.factors if f.name == name),
                DEFAULT_STEP.get(name, 0.0))
    places = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 1
    whole = math.isclose(number, round(number, places), abs_tol=1e-9)
    return value(number, places) if whole else figures(number, 4)


def setting_words(job: EvaporationJob, setting: Setting) -> str:
    """A setting in one line, main factors first.

    A setting of an earlier form of the job may lack a factor, or hold one that is no longer there.
    """
    known = [f.name for f in job.factors if f.name in setting]
    parts = []
    for name in (*known, *(n for n in setting if n not in known)):
        unit = factor_unit(name)
        number = factor_value(job, name, setting[name])
        parts.append(f"{factor_name(name)} {number}{' ' + unit if unit else ''}")
    return ", ".join(parts)
