"""A document as DOCX, for laboratories that must edit; figures as pictures of high resolution."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import datetime
from typing import Any

import docx
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Cm, Pt, RGBColor

from experiments.report.document import (
    Blank,
    Block,
    Bullets,
    Document,
    Facts,
    Figure,
    Notice,
    Paragraph,
    Section,
    Signature,
    Table,
)
from experiments.report.look import png, svg
from experiments.report.paper import printed_width
from experiments.report.workbook import without_clock

MAIN = RGBColor(0x0E, 0x6C, 0x78)
MUTED = RGBColor(0x56, 0x62, 0x6A)
SIZES = {"small": 7.5, "normal": 8.5, "large": 12.0, "fields": 9.0}
NOT_XML = dict.fromkeys([*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF])


def render_docx(document: Document) -> bytes:
    """The document; the same document gives the same bytes."""
    file = docx.Document()
    day = datetime.fromisoformat(document.date)
    file.core_properties.created = file.core_properties.modified = day
    file.core_properties.author = "Boilwright"
    file.core_properties.title = _clean(document.title)[:255]
    page = file.sections[0]
    page.page_width, page.page_height = Cm(21.0), Cm(29.7)
    page.left_margin = page.right_margin = Cm(2.2)
    page.top_margin, page.bottom_margin = Cm(2.3), Cm(2.1)
    file.styles["Normal"].font.name = "Arial"
    file.styles["Normal"].font.size = Pt(9.5)
    page.footer.paragraphs[0].text = _clean(document.foot)
    _text(file, document.kind.upper(), size=8.5, colour=MAIN, bold=True)
    file.add_heading(_clean(document.title), 0)
    if document.subtitle:
        _text(file, document.subtitle, size=10.0, colour=MUTED)
    _facts(file, document.facts)
    for number, section in enumerate(document.sections, start=1):
        _section(file, number if document.has_contents else None, section)
    buffer = io.BytesIO()
    file.save(buffer)
    return without_clock(buffer.getvalue())


def _clean(text: str) -> str:
    """Text without the control characters that the format forbids."""
    return text.translate(NOT_XML)


def _section(file: Any, number: int | None, section: Section) -> None:
    if section.page_break:
        file.add_page_break()
    title = section.title if number is None else f"{number} {section.title}"
    file.add_heading(_clean(title), 1)
    for block in section.blocks:
        _block(file, block)


def _block(file: Any, block: Block) -> None:
    match block:
        case Paragraph():
            records = "".join(f" [record {r}]" for r in block.records)
            _text(file, block.text + records, bold=block.strong)
        case Bullets():
            style = "List Number" if block.numbered else "List Bullet"
            for item in block.items:
                file.add_paragraph(_clean(item), style=style)
        case Facts():
            _facts(file, block.rows)
        case Table():
            _table(file, block)
        case Figure():
            file.add_picture(io.BytesIO(png(block.chart)),
                             width=Pt(printed_width(svg(block.chart))))
            _describe(file, block.description)
            _text(file, block.title, size=8.5, colour=MUTED)
        case Notice():
            _text(file, block.title, bold=True, colour=MAIN)
            _text(file, block.text)
        case Signature():
            _text(file, f"{block.role} ({block.meaning})", bold=True)
            _text(file, f"name: {block.name or '_' * 30}    signature: {'_' * 30}    date: "
                  f"{'_' * 14}")
        case Blank():
            _text(file, f"{block.label}: {'_' * 50} {block.unit}")


def _text(
    file: Any, text: str, size: float | None = None, colour: RGBColor | None = None,
    bold: bool = False,
) -> None:
    run = file.add_paragraph().add_run(_clean(text))
    run.bold = bold
    if size is not None:
        run.font.size = Pt(size)
    if colour is not None:
        run.font.color.rgb = colour


def _facts(file: Any, rows: Iterable[tuple[str, str]]) -> None:
    table = file.add_table(rows=0, cols=2)
    for name, value in rows:
        cells = table.add_row().cells
        cells[0].text, cells[1].text = _clean(name), _clean(value)
        cells[0].width, cells[1].width = Cm(3.6), Cm(13.0)
    file.add_paragraph()


def _table(file: Any, block: Table) -> None:
    _text(file, block.title, size=8.5, colour=MUTED)
    file.paragraphs[-1].paragraph_format.keep_with_next = True
    table = file.add_table(rows=1, cols=len(block.columns))
    table.style = "Light List"
    head = table.rows[0]
    repeat = OxmlElement("w:tblHeader")
    repeat.set(qn("w:val"), "true")
    head._tr.get_or_add_trPr().append(repeat)
    size = SIZES[block.size]
    for cell, column in zip(head.cells, block.columns, strict=True):
        _set(cell, column.title, column.align, size, bold=True)
    for row in block.rows:
        for cell, made, column in zip(table.add_row().cells, row, block.columns, strict=True):
            record = f" [{made.record}]" if made.record is not None else ""
            _set(cell, made.text + record, column.align, size, bold=made.strong)
    _keep_rows_whole(table)
    if block.note:
        _text(file, block.note, size=8.0, colour=MUTED)


def _keep_rows_whole(table: Any) -> None:
    """No row goes on on the next page, and none of the first ones stands there alone."""
    for row in table.rows:
        row._tr.get_or_add_trPr().append(OxmlElement("w:cantSplit"))
    for row in table.rows[:3]:
        for cell in row.cells:
            cell.paragraphs[0].paragraph_format.keep_with_next = True


def _set(cell: Any, text: str, align: str, size: float, bold: bool) -> None:
    paragraph = cell.paragraphs[0]
    run = paragraph.add_run(_clean(text))
    run.bold, run.font.size = bold, Pt(size)
    paragraph.alignment = {
        "right": WD_ALIGN_PARAGRAPH.RIGHT, "centre": WD_ALIGN_PARAGRAPH.CENTER
    }.get(align, WD_ALIGN_PARAGRAPH.LEFT)


def _describe(file: Any, description: str) -> None:
    """Alternative text of the picture just added."""
    shape = file.inline_shapes[len(file.inline_shapes) - 1]
    shape._inline.docPr.set("descr", _clean(description))
