"""A document as PDF: typeset by Typst, fonts embedded, tagged, PDF/A, files attached.

The document goes to the typesetter as data, so nothing a user typed can become markup. Only
fonts that come along are used, so the same document gives the same bytes on every machine;
a letter that none of them has is looked for among the system's, and else shown by its number.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import typst

from experiments.report.document import Attachment, Document, Figure, Section
from experiments.report.look import FONTS, PAGE_SCALE, svg
from experiments.wording import unbroken

TEMPLATE = Path(__file__).parent / "templates" / "report.typ"
STANDARDS: list[Literal["a-3a", "ua-1"]] = ["a-3a", "ua-1"]
"""Archivable with attachments, and readable by assistive technology."""
TEXT_WIDTH_PT, TEXT_HEIGHT_PT = 470.0, 610.0
"""Room on an A4 page for a figure, its caption left out."""
MISSING_LETTER = re.compile(r"the text `\"(.+?)\"` could not be displayed", re.DOTALL)


def render_pdf(document: Document) -> bytes:
    """The document as PDF; the same document gives the same bytes."""
    return typeset(as_data(document), TEMPLATE.read_bytes())


def typeset(data: dict[str, Any], template: bytes) -> bytes:
    """Set data with a template.

    Parameters
    ----------
    data : JSON data; ``date`` as YYYY-MM-DD becomes the date of the file
    template : Typst source that reads ``sys.inputs.document``
    """
    day = datetime.strptime(data["date"], "%Y-%m-%d").replace(tzinfo=UTC)
    text = json.dumps(data, ensure_ascii=False)
    for own_fonts_only in (True, False):
        try:
            return _compile(template, text, int(day.timestamp()), own_fonts_only)
        except typst.TypstError as error:
            if MISSING_LETTER.search(str(error)) is None:
                raise
    return _compile_by_number(template, text, int(day.timestamp()))


def _compile(template: bytes, text: str, timestamp: int, own_fonts_only: bool) -> bytes:
    fonts = typst.Fonts(include_system_fonts=not own_fonts_only, font_paths=[str(FONTS)])
    return typst.compile(
        template, font_paths=fonts, format="pdf", pdf_standards=[*STANDARDS],
        timestamp=timestamp, sys_inputs={"document": text},
    )


def _compile_by_number(template: bytes, text: str, timestamp: int) -> bytes:
    """Replace letters that no font has by their Unicode number, one kind after another."""
    while True:
        try:
            return _compile(template, text, timestamp, own_fonts_only=False)
        except typst.TypstError as error:
            missing = MISSING_LETTER.search(str(error))
            if missing is None:
                raise
            for letter in set(missing[1]):
                text = text.replace(letter, f"[U+{ord(letter):04X}]")


def as_data(document: Document, picture: Callable[[dict[str, Any]], str] = svg) -> dict[str, Any]:
    """The document as JSON data, charts as pictures."""
    short = document.title if len(document.title) < 76 else document.title[:73] + "..."
    return {
        "title": document.title, "short-title": short, "kind": document.kind,
        "subtitle": document.subtitle, "date": document.date, "facts": _value(document.facts),
        "foot": document.foot, "has-contents": document.has_contents,
        "numbered": document.has_contents,
        "sections": [_section(s, picture) for s in document.sections],
        "attachments": [_attachment(a) for a in document.attachments],
    }


def _section(section: Section, picture: Callable[[dict[str, Any]], str]) -> dict[str, Any]:
    return {
        "key": section.key, "title": section.title, "page-break": section.page_break,
        "blocks": [_block(b, picture) for b in section.blocks],
    }


def _block(block: Any, picture: Callable[[dict[str, Any]], str]) -> dict[str, Any]:
    if isinstance(block, Figure):
        drawn = picture(block.chart)
        return {"type": "figure", "title": _value(block.title), "description": block.description,
                "points": printed_width(drawn), "svg": drawn}
    return {"type": type(block).__name__.lower(), **_plain(block)}


def printed_width(drawn: str) -> float:
    """Width in points at which an SVG picture fits the page."""
    wide, high = svg_size(drawn)
    return wide * min(PAGE_SCALE, TEXT_WIDTH_PT / wide, TEXT_HEIGHT_PT / high)


def svg_size(drawn: str) -> tuple[float, float]:
    """Width and height of an SVG picture in its own points."""
    head = drawn[: drawn.index(">")]
    wide, high = (re.search(rf' {name}="([0-9.]+)"', head) for name in ("width", "height"))
    if wide is None or high is None:
        raise ValueError("the picture does not tell its size")
    return float(wide[1]), float(high[1])


def _plain(record: Any) -> dict[str, Any]:
    """A frozen record as data, records inside it too."""
    return {f.name: _value(getattr(record, f.name)) for f in fields(record)}


def _value(value: Any) -> Any:
    if isinstance(value, str):
        return unbroken(value)
    if isinstance(value, tuple):
        return [_value(v) for v in value]
    if hasattr(value, "__dataclass_fields__"):
        return _plain(value)
    return value


def _attachment(file: Attachment) -> dict[str, Any]:
    return {"name": file.name, "mime-type": file.mime_type, "description": file.description,
            "data": list(file.data)}
