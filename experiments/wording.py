"""Lists in words, the capital at the start of a sentence, probabilities and differences."""

from __future__ import annotations

import math
from collections.abc import Sequence


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


def capital(text: str) -> str:
    """The text with its first letter as a capital, the rest as it is.

    >>> capital("n-hexane"), capital("pH of water")
    ('N-hexane', 'PH of water')
    """
    return text[:1].upper() + text[1:]


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


def signed(value: float) -> str:
    """To a tenth with its sign, which zero has none of.

    >>> signed(2.04), signed(-0.31), signed(-0.04)
    ('+2.0', '−0.3', '0.0')
    """
    return f"{value:+.1f}".replace("-", "−") if abs(value) >= 0.05 else "0.0"


def assured(probability: float) -> str:
    """A probability in percent, never rounded up to certainty or to an assurance it misses.

    >>> assured(0.9497), assured(0.95), assured(0.853), assured(1.0)
    ('94.9 %', '95 %', '85 %', 'over 99.9 %')
    """
    percent = 100.0 * probability
    if percent < 90.0:
        return f"{percent:.0f} %"
    return "over 99.9 %" if percent >= 99.95 else f"{math.floor(10.0 * percent) / 10.0:.4g} %"
