"""Workbooks: the bench sheet to fill in, and the data of a report.

Text is written as text, never as a formula; the same content gives the same bytes.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from experiments.bench_sheet import BenchSheet, how_to_fill
from experiments.report.document import Bullets, Document, Facts, Notice, Paragraph, Table
from experiments.sheet_cells import safe_cell
from experiments.trials import OUTCOMES

EPOCH = datetime(2000, 1, 1)  # noqa: DTZ001 - a workbook's own dates carry no zone
HEAD = PatternFill("solid", fgColor="DCE9E9")
FIXED = PatternFill("solid", fgColor="F1F1EE")
NUMBER = re.compile(r"−?\d+(\.\d+)?")


def sheet_workbook(sheet: BenchSheet) -> bytes:
    """The bench sheet: the table to fill in, and how to."""
    book = Workbook()
    page = book.active
    page.title = "Trials"
    _fill(page, (*sheet.columns, *sheet.noted), sheet.rows)
    page.freeze_panes = "C2"
    filled = {"trial", "run_order", "vessel", *(f.name for f in sheet.job.factors)}
    for i, column in enumerate(sheet.columns, start=1):
        if column in filled:
            for row in range(2, page.max_row + 1):
                page.cell(row, i).fill = FIXED
    _offer_outcomes(page, sheet.columns.index("outcome") + 1)
    notes = book.create_sheet("How to fill in")
    _fill(notes, ("how to fill in",), [(line,) for line in how_to_fill(sheet)])
    _fill(notes, ("cautions",), [(line,) for line in sheet.cautions], below=True)
    notes.column_dimensions["A"].width = 110
    return saved(book)


def report_workbook(document: Document) -> bytes:
    """The tables of a report, one sheet a section that has any, and its facts."""
    book = Workbook()
    first = book.active
    first.title = "Report"
    _fill(first, ("", ""), [("title", document.title), ("kind", document.kind), *document.facts])
    for section in document.sections:
        tables = [b for b in section.blocks if isinstance(b, Table)]
        if not tables:
            continue
        page = book.create_sheet(_sheet_name(section.title, book.sheetnames))
        for block in section.blocks:
            _add_block(page, block)
    return saved(book)


def _add_block(page: Worksheet, block: Any) -> None:
    match block:
        case Table():
            _fill(page, (block.title,), [], below=True)
            _fill(page, [c.title for c in block.columns],
                  [[_number(c.text) for c in row] for row in block.rows], below=True)
        case Facts():
            _fill(page, (), block.rows, below=True)
        case Paragraph():
            _fill(page, (), [(block.text,)], below=True)
        case Notice():
            _fill(page, (), [(block.title,), (block.text,)], below=True)
        case Bullets():
            _fill(page, (), [(item,) for item in block.items], below=True)


def _number(text: str) -> str | float:
    """A cell that holds nothing but a number, as a number."""
    return float(text.replace("−", "-")) if NUMBER.fullmatch(text) else text


def _sheet_name(title: str, taken: Sequence[str]) -> str:
    name = re.sub(r"[\[\]:*?/\\]", " ", title)[:31]
    return name if name not in taken else f"{name[:27]} {len(taken)}"


def _fill(
    page: Worksheet, head: Sequence[str], rows: Iterable[Sequence[Any]], below: bool = False
) -> None:
    """Write a head and rows, below what is there already when asked."""
    is_empty = page.max_row == 1 and all(c.value is None for c in page[1])
    row = page.max_row + 2 if below and not is_empty else 1
    for i, title in enumerate(head, start=1):
        cell = _write(page, row, i, title)
        cell.font = Font(bold=True)
        cell.fill = HEAD
        width = max(page.column_dimensions[get_column_letter(i)].width or 0, len(title) + 2, 9)
        page.column_dimensions[get_column_letter(i)].width = min(width, 42)
    row += 1 if head else 0
    for values in rows:
        for i, value in enumerate(values, start=1):
            _write(page, row, i, value)
        row += 1


def _write(page: Worksheet, row: int, column: int, value: Any) -> Any:
    cell = page.cell(row, column)
    if isinstance(value, str):
        if value:
            cell.value = safe_cell(value)
            cell.data_type = "s"
            cell.alignment = Alignment(wrap_text=len(value) > 60, vertical="top")
    else:
        cell.value = value
    return cell


def _offer_outcomes(page: Worksheet, column: int) -> None:
    """A list to choose the outcome from."""
    choice = DataValidation(type="list", formula1=f'"{",".join(OUTCOMES)}"', allow_blank=True)
    letter = get_column_letter(column)
    choice.add(f"{letter}2:{letter}{page.max_row}")
    page.add_data_validation(choice)


def saved(book: Workbook) -> bytes:
    """The workbook as bytes that do not depend on the clock."""
    book.properties.created = book.properties.modified = EPOCH
    book.properties.creator = "Boilwright"
    buffer = io.BytesIO()
    book.save(buffer)
    return without_clock(buffer.getvalue())


def without_clock(data: bytes) -> bytes:
    """A zip file with all its dates set to one."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(
        target, "w", zipfile.ZIP_DEFLATED
    ) as new:
        for item in old.infolist():
            content = old.read(item)
            if item.filename == "docProps/core.xml":
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z",
                                 content)
            info = zipfile.ZipInfo(item.filename, (2000, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, content)
    return target.getvalue()
