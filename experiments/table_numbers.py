"""Numbers as analysts write them: a decimal point or a comma, but never both, never guessed.

``1,234`` alone could be 1234 or 1.234 and is refused. When other cells of the same table
settle which sign it uses (``88,1``), it is read by that sign.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

from experiments.entries import EntryError

Sign = Literal[".", ",", "mixed", "unknown"]

_POINT = re.compile(r"[+-]?(\d{1,15}\.?\d*|\.\d+)([eE][+-]?\d{1,2})?")
_COMMA = re.compile(r"[+-]?(\d{1,15},\d+|,\d+)")
_TWO_WAYS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_GROUPED = re.compile(r"[+-]?\d{1,3}([.,  '’]\d{3})+([.,]\d+)?")


def decimal_sign(texts: Iterable[str]) -> Sign:
    """Which decimal sign the cells of a table settle on, taken together."""
    signs: set[Literal[".", ","]] = set()
    for text in texts:
        body = text.lstrip("<≤ ").rstrip("% ")
        if _COMMA.fullmatch(body) and not _TWO_WAYS.fullmatch(body):
            signs.add(",")
        elif "." in body and _POINT.fullmatch(body):
            signs.add(".")
    if len(signs) > 1:
        return "mixed"
    return signs.pop() if signs else "unknown"


def read_number(text: str, sign: Sign) -> float:
    """The number a cell holds.

    Raises
    ------
    EntryError
        for what is no number, or could be read two ways
    """
    if sign == "mixed" and ("," in text or "." in text):
        raise EntryError(
            f"{text[:40]!r} stands in a table that uses both decimal commas and points.",
            "Use one decimal sign throughout.",
        )
    if _TWO_WAYS.fullmatch(text) and sign != ",":
        plain = text.replace(",", "")
        raise EntryError(
            f"{text!r} could mean {text.replace(',', '.')} or {plain}.",
            "Write it with a decimal point, or without a separator.",
        )
    if _POINT.fullmatch(text):
        return float(text)
    if _COMMA.fullmatch(text):
        return float(text.replace(",", "."))
    if _GROUPED.fullmatch(text):
        raise EntryError(f"{text[:40]!r} has a separator of thousands.", "Leave it out.")
    raise EntryError(f"{text[:40]!r} is not a number.",
                     "Give a plain number, or leave the cell empty; below 5 is written <5.")
