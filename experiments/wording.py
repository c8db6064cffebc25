"""Lists in words, the capital at the start of a sentence, probabilities and differences."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

ROUNDING = 1e-9
"""Percent by which a binary fraction may lie beside the decimal one that was meant."""

_GLUE = re.compile(
    r"(?<=[\d±]) (?=\d|[%°]|"
    r"(?:[mhk]?Pa|m?bar|Torr|min|h|[mµ]?L|[mµk]?g|k?W|k?J|K|mol|points)(?![^\W\d_]))")
"""Spaces between a number and its unit, in a long number, after a plus-minus."""


def unbroken(text: str) -> str:
    r"""The text with spaces at which no line ends between numbers and their units.

    >>> unbroken("at 120 mbar, 20 mbar/min for 3 min, 5 % of 2 minima").split(" ")
    ['at', '120\xa0mbar,', '20\xa0mbar/min', 'for', '3\xa0min,', '5\xa0%', 'of', '2', 'minima']
    """
    return _GLUE.sub("\u00a0", text)


def listed(words: Sequence[str], limit: int = 6) -> str:
    """Words with commas and a final "and"; the rest counted when there are too many.

    >>> listed(["a", "b", "c"]), listed(["a", "b", "c"], 2)
    ('a, b and c', 'a, b and 1 more')
    """
    shown = list(words[:limit])
    if len(words) > limit:
        shown.append(f"{len(words) - limit} more")
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


def counted(number: int, word: str) -> str:
    """A number of things, one of them in the singular.

    >>> counted(1, "run"), counted(0, "run"), counted(3, "dossier")
    ('1 run', '0 runs', '3 dossiers')
    """
    return f"{number} {word}{'' if number == 1 else 's'}"


def is_or_are(number: int) -> str:
    """The verb for a number of things.

    >>> is_or_are(1), is_or_are(0), is_or_are(3)
    ('is', 'are', 'are')
    """
    return "is" if number == 1 else "are"


def capital(text: str) -> str:
    """The text with its first letter as a capital, the rest as it is.

    >>> capital("n-hexane"), capital("pH of water")
    ('N-hexane', 'PH of water')
    """
    return text[:1].upper() + text[1:]


def percent(probability: float, digits: int = 1) -> str:
    """A probability in per cent: whole, and to ``digits`` below 10 and from 90 per cent on.

    Never 100 or 0, which no number of draws can show; above 49 rounded down, so that it does
    not read as an assurance that it misses.

    >>> percent(0.9497), percent(0.95), percent(0.853), percent(1.0), percent(0.004)
    ('94.9 %', '95 %', '85 %', 'above 99.9 %', '0.4 %')
    >>> percent(0.9497, digits=0), percent(1.0, digits=0), percent(0.004, digits=0)
    ('94 %', 'above 99 %', 'below 1 %')
    """
    value, least = 100.0 * probability, 10.0**-digits
    if value > 100.0 - least + ROUNDING:
        return f"above {100.0 - least:g} %"
    if value < least - ROUNDING:
        return f"below {least:g} %"
    step = 1.0 if 10.0 <= value < 90.0 - ROUNDING else least
    steps = value / step
    return f"{step * (math.floor(steps + ROUNDING) if value > 49.0 else round(steps)):.6g} %"


def portion(share: float) -> str:
    """A part of a whole in whole per cents, a small one not as none.

    >>> portion(0.556), portion(0.004), portion(1.0)
    ('56 %', 'below 1 %', '100 %')
    """
    return "below 1 %" if share < 0.01 else f"{100.0 * share:.0f} %"


def as_asked(share: float) -> str:
    """A share in per cent as somebody gave it.

    >>> as_asked(0.95), as_asked(0.975)
    ('95 %', '97.5 %')
    """
    return f"{100.0 * share:.6g} %"


def amount(value: float) -> str:
    """To three digits, large ones in full.

    >>> amount(41.25), amount(2460.0)
    ('41.2', '2460')
    """
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def signed(value: float) -> str:
    """To a tenth with its sign, which zero has none of.

    >>> signed(2.04), signed(-0.31), signed(-0.04)
    ('+2.0', '−0.3', '0.0')
    """
    return f"{value:+.1f}".replace("-", "−") if abs(value) >= 0.05 else "0.0"
