"""Numbers in words: never more digits than the error supports, always with a unit."""

from __future__ import annotations

import math

from experiments.answers import Interval
from experiments.job import EvaporationJob, Setting
from experiments.sensitivity import WORDS

NONE = "–"


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


def figures(number: float | None, digits: int = 3) -> str:
    """A number with significant digits, without an exponent where that is readable.

    >>> figures(1234.5), figures(0.01234), figures(3.2e-7)
    ('1230', '0.0123', '3.2e−7')
    """
    if number is None or not math.isfinite(number):
        return NONE
    if number == 0.0:
        return "0"
    if not 1e-4 <= abs(number) < 1e6:
        mantissa, exponent = f"{number:.{digits - 1}e}".split("e")
        mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
        return f"{mantissa}e{int(exponent)}".replace("-", "−")
    rounded = round(number, digits - 1 - math.floor(math.log10(abs(number))))
    places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
    return f"{rounded:.{places}f}".replace("-", "−")


def interval(found: Interval, unit: str = "") -> str:
    """Mean with its interval, as many decimals as half its width supports."""
    places = min(1, decimals_for(0.5 * (found.high - found.low)))
    text = f"{value(found.mean, places)} ({value(found.low, places)} to "
    return f"{text}{value(found.high, places)}){' ' + unit if unit else ''}"


def percent(share: float) -> str:
    """A probability in per cent; never 100 or 0, which no number of draws can show.

    >>> percent(0.953), percent(1.0), percent(0.0001), percent(0.994)
    ('95 %', 'above 99.9 %', 'below 0.1 %', '99.4 %')
    """
    if share > 0.999:
        return "above 99.9 %"
    if share < 0.001:
        return "below 0.1 %"
    return f"{100 * share:.1f} %" if share > 0.99 or share < 0.01 else f"{100 * share:.0f} %"


def p_value(p: float) -> str:
    """A p-value, two digits down to 0.001."""
    return "below 0.001" if p < 0.001 else f"{p:.2g}"


def factor_name(name: str) -> str:
    """The factor in words."""
    return WORDS.get(name, (name, ""))[0]


def factor_unit(name: str) -> str:
    """The unit of a factor."""
    return WORDS.get(name, ("", ""))[1]


def factor_value(job: EvaporationJob, name: str, number: float | str) -> str:
    """A factor's value to what the equipment can dial."""
    if isinstance(number, str):
        return number
    step = job.factor(name).resolution
    places = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 1
    whole = math.isclose(number, round(number, places), abs_tol=1e-9)
    return value(number, places) if whole else figures(number, 4)


def setting_words(job: EvaporationJob, setting: Setting) -> str:
    """A setting in one line, main factors first."""
    parts = []
    for factor in job.factors:
        unit = factor_unit(factor.name)
        number = factor_value(job, factor.name, setting[factor.name])
        parts.append(f"{factor_name(factor.name)} {number}{' ' + unit if unit else ''}")
    return ", ".join(parts)
