"""The parts of a report, without any format."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Paragraph:
    """Text; ``kind`` is "text", "strong", "note" or "caution"."""

    text: str
    kind: str = "text"


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class TableBlock:
    """A table; ``align`` holds one of l, r, c a column."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str = ""
    wide: bool = False


@dataclass(frozen=True, eq=False)
class Figure:
    """A chart as a Vega-Lite specification."""

    name: str
    caption: str
    alt: str
    spec: dict[str, Any]


@dataclass(frozen=True)
class SignatureLines:
    """Lines to sign on."""

    roles: tuple[str, ...]


Block = Paragraph | Bullets | TableBlock | Figure | SignatureLines


@dataclass(frozen=True, eq=False)
class Section:
    """A headed part."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, eq=False)
class ReportContent:
    """All numbers and sentences of a report."""

    title: str
    subtitle: str
    date: str
    dossier_id: str
    summary: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    method_sheet: tuple[Block, ...]
    data: dict[str, Any] = field(default_factory=dict)
    digest: str = ""
