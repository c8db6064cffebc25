"""Cells of spreadsheets: user text never becomes a live formula."""

from __future__ import annotations

from typing import Any

RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a spreadsheet may read as the beginning of a formula (OWASP, "CSV Injection"; from
memory)."""


def safe_cell(value: Any) -> Any:
    """The value for a spreadsheet cell; text that a program might run gets a leading quote.

    >>> safe_cell("=1+1")
    "'=1+1"
    >>> safe_cell(-5.0)
    -5.0
    """
    if isinstance(value, str) and value.startswith(RISKY):
        return "'" + value
    return value
