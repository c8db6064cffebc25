"""Charts for readers of decimal commas."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

COMMA = {"number": {"decimal": ",", "thousands": "\u202f", "grouping": [3], "currency": ["", ""]}}
WORDS = ("text", "said", "description", "subtitle")
"""Where a chart holds words with numbers in them."""


def with_commas(spec: dict[str, Any], sign: Callable[[str], str]) -> dict[str, Any]:
    """The chart with decimal commas at its axes and, by ``sign``, in its words."""
    signed: dict[str, Any] = _signed(spec, sign)
    return {**signed, "config": {**signed.get("config", {}), "locale": COMMA}}


def _signed(part: Any, sign: Callable[[str], str]) -> Any:
    if isinstance(part, dict):
        return {k: sign(v) if k in WORDS and isinstance(v, str) else _signed(v, sign)
                for k, v in part.items()}
    return [_signed(v, sign) for v in part] if isinstance(part, list) else part
