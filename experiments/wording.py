"""Lists in words, and the capital at the start of a sentence."""

from __future__ import annotations

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
