"""A table to type into, of plain fields: no key is lost while the page is busy.

The grid of the framework opens an editor at the first key of a cell and drops the keys that
come before it is there; a reading typed fast could lose its first digit and still be a number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import streamlit as st

STATIC = Path(__file__).parent / "static"
HTML = ('<div class="typing-table"><div class="scroller"></div>'
        '<p class="said" role="status"></p></div>')

_mount = st.components.v2.component(
    "boilwright_typing_table", html=HTML,
    css=(STATIC / "typing_table.css").read_text("utf-8"),
    js=(STATIC / "typing_table.js").read_text("utf-8"),
)


@dataclass(frozen=True)
class Heads:
    """Columns of a table: their heads, how many name the row, choices, numbers and help."""

    texts: Sequence[str]
    fixed: int
    choices: Mapping[int, Sequence[str]] = field(default_factory=dict)
    numeric: frozenset[int] = frozenset()
    helps: Mapping[int, str] = field(default_factory=dict)


def typing_table(
    label: str, heads: Heads, rows: Sequence[Sequence[str]], key: str
) -> list[list[str]]:
    """Draw the table; gives its rows as they are typed so far.

    ``rows`` are what it starts with; a new ``key`` makes it start again.
    """
    count = range(len(heads.texts))
    start = [list(row) for row in rows]
    found = _mount(
        key=key, default={"rows": start}, on_rows_change=_noted,
        data={
            "generation": key, "label": label, "heads": list(heads.texts), "fixed": heads.fixed,
            "rows": start, "numeric": [c in heads.numeric for c in count],
            "choices": [list(heads.choices[c]) if c in heads.choices else None for c in count],
            "helps": [heads.helps.get(c, "") for c in count],
        },
    )
    return [[str(value) for value in row] for row in found.rows or start]


def _noted() -> None:
    """The page runs again; nothing else is to be done when a cell changes."""
