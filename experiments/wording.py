"""Lists in words."""

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
