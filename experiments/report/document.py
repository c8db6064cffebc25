"""The parts a document is made of, without any format; renderers set them.

Text is plain: what a user typed can never become markup, a formula or a script, because
every renderer escapes it. References are numbers of records (events of the dossier).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

One = TypeVar("One")

Align = Literal["left", "right", "centre"]


@dataclass(frozen=True)
class Paragraph:
    """A paragraph; ``records`` are the events its numbers come from."""

    text: str
    records: tuple[int, ...] = ()
    strong: bool = False


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Facts:
    """Names with values, set in two columns."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Cell:
    """A cell; ``record`` links it to an event, ``strong`` sets it apart."""

    text: str
    record: int | None = None
    strong: bool = False


@dataclass(frozen=True)
class Column:
    """A column; ``weight`` shares the width, 0 takes what the content needs."""

    title: str
    align: Align = "left"
    weight: float = 0.0


@dataclass(frozen=True)
class Table:
    """A table that may run over several pages; ``fields`` leaves room to write in its cells."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    size: Literal["small", "normal", "large", "fields"] = "normal"


@dataclass(frozen=True, eq=False)
class Figure:
    """A chart as a Vega-Lite specification, with a description for who cannot see it."""

    title: str
    chart: dict[str, Any]
    description: str


@dataclass(frozen=True)
class Notice:
    """Something that must not be overlooked; ``kind`` decides sign and colour."""

    kind: Literal["info", "caution", "stop", "answer"]
    title: str
    text: str


@dataclass(frozen=True)
class Signature:
    """A line to sign on, with what the signature stands for."""

    role: str
    name: str
    meaning: str


@dataclass(frozen=True)
class Blank:
    """A field to fill in by hand."""

    label: str
    unit: str = ""
    lines: int = 1


Block = (
    Paragraph | Bullets | Facts | Table | Figure | Notice | Signature | Blank
)


@dataclass(frozen=True, eq=False)
class Section:
    """A headed part of the document."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    page_break: bool = False


@dataclass(frozen=True, eq=False)
class Attachment:
    """A file carried inside the PDF."""

    name: str
    mime_type: str
    description: str
    data: bytes


@dataclass(frozen=True, eq=False)
class Document:
    """Title page facts, sections, and what is attached."""

    title: str
    kind: str
    subtitle: str
    date: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    foot: str
    has_contents: bool = True
    attachments: tuple[Attachment, ...] = field(default_factory=tuple)


def rows_of(rows: Sequence[Sequence[str | Cell]]) -> tuple[tuple[Cell, ...], ...]:
    """Rows of cells from rows of text."""
    return tuple(
        tuple(c if isinstance(c, Cell) else Cell(c) for c in row) for row in rows
    )


def even_parts(items: Sequence[One], at_most: int) -> Iterator[Sequence[One]]:
    """Items in groups that fit side by side, as even as they go.

    >>> [len(part) for part in even_parts(range(25), 6)]
    [5, 5, 5, 5, 5]
    """
    count = -(-len(items) // at_most)
    each = -(-len(items) // max(count, 1))
    for start in range(0, len(items), max(each, 1)):
        yield items[start : start + each]
