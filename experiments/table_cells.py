"""From the bytes of a bench table (CSV, paste, XLSX) to rows of cells, with nothing trusted.

A spreadsheet's formulas are not believed, nor its dates and percentages: such cells come back
as :class:`Unusable`, with what to do about them. Files that would unpack to far more than a
bench table are refused before they are unpacked.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from experiments.entries import EntryError
from experiments.job_fields import NOT_TEXT

MAX_BYTES = 5_000_000
MAX_UNPACKED = 60_000_000
MAX_MEMBERS = 500
MAX_ROWS = 5_000
MAX_COLUMNS = 400


@dataclass(frozen=True)
class Unusable:
    """A cell whose value cannot be trusted, and what would mend it."""

    reason: str
    cure: str


Cell = str | float | Unusable


@dataclass(frozen=True)
class Grid:
    """Rows of cells with their numbers in the file; ``delimiter`` is "" for a workbook."""

    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    delimiter: str
    notes: tuple[str, ...] = ()


FORMULA = Unusable("holds a formula.", "Paste its value instead (paste special, values).")
ERROR = Unusable("holds an error of the spreadsheet.", "Give the value, or leave it empty.")
DATE = Unusable(
    "holds a date, which a spreadsheet may have made of a number such as 1.5.",
    "Format the cell as a number and type the value again.",
)
PERCENT = Unusable("is formatted as a percentage.", "Format it as a number: 88.1 for 88.1 %.")
BOOLEAN = Unusable("holds a logical value.", "Give a number or text.")
CONTROL = Unusable("holds control characters.", "Type it again.")


def read_cells(data: bytes | str, known: Iterable[str]) -> Grid:
    """Rows of cells of a table.

    Parameters
    ----------
    data : CSV text, or the bytes of a CSV or XLSX file
    known : names of columns, by which delimiter and sheet are recognised

    Raises
    ------
    EntryError
        when the whole cannot be read
    """
    if len(data) > MAX_BYTES:
        raise EntryError("The table is larger than 5 MB.", "Give only the rows of this job.")
    if isinstance(data, bytes) and data.startswith(b"PK"):
        grid = Grid(_workbook(data, set(known)), "")
    elif isinstance(data, bytes) and data.startswith(b"\xd0\xcf\x11\xe0"):
        raise EntryError("This is a workbook of an old format.", "Save it as XLSX or CSV.")
    else:
        grid = _text_grid(data, set(known))
    if not grid.rows:
        raise EntryError("The table is empty.", "Fill in the bench sheet and give it again.")
    if len(grid.rows) > MAX_ROWS or max(len(cells) for _, cells in grid.rows) > MAX_COLUMNS:
        raise EntryError(f"The table has more than {MAX_ROWS} rows or {MAX_COLUMNS} columns.",
                         "Give only the rows of this job.")
    return grid


def text_of(cell: Cell) -> str:
    """A cell as text; whole numbers without a point."""
    if isinstance(cell, Unusable):
        return ""
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    return cell


# -- text ------------------------------------------------------------------------------


def _text_grid(data: bytes | str, known: set[str]) -> Grid:
    text, notes = decoded(data)
    if NOT_TEXT.search(text):
        raise EntryError("The table holds characters that are no text.",
                         "Save it as CSV in UTF-8, or as XLSX.")
    if "\n" not in text:  # lines that end as they once did on one kind of computer
        text = text.replace("\r", "\n")
    delimiter = _delimiter(text, known)
    try:
        parsed = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        cure = "Save it again as CSV, with quotation marks only around a whole cell."
        raise EntryError(f"The table cannot be read ({error}).", cure) from error
    rows = [(i, tuple(c.strip() for c in cells)) for i, cells in enumerate(parsed, start=1)]
    return Grid(tuple(r for r in rows if any(r[1])), delimiter, notes)


def decoded(data: bytes | str) -> tuple[str, tuple[str, ...]]:
    """The text of a file, and what the reader should know of how it was read."""
    if isinstance(data, str):
        return data.lstrip("\ufeff"), ()
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if encoding == "cp1252":
            return text, ("The file is not UTF-8; it was read as Windows-1252.",)
        return text, ()
    raise EntryError("The table is neither text nor XLSX.", "Save it as CSV in UTF-8, or XLSX.")


def _delimiter(text: str, known: set[str]) -> str:
    """The delimiter by which some line shows most known columns."""
    lines = [line for line in text.splitlines() if line.strip()][:30]
    best, found = ",", 0
    for delimiter in ("\t", ";", ","):
        for line in lines:
            names = [c.strip().strip('"') for c in line.split(delimiter)]
            count = sum(n in known or n.startswith("recovery_percent:") for n in names)
            if count > found:
                best, found = delimiter, count
    return best


# -- workbooks -------------------------------------------------------------------------


def _workbook(data: bytes, known: set[str]) -> tuple[tuple[int, tuple[Cell, ...]], ...]:
    import openpyxl  # a fifth of a second, needed for workbooks only

    try:
        _guard(data)
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        try:
            return _table_sheet(book.worksheets, known)
        finally:
            book.close()
    except EntryError:
        raise
    except Exception as error:
        # a damaged workbook can fail in any way the library did not foresee
        cure = "Save it again as XLSX or CSV."
        raise EntryError("The workbook cannot be read.", cure) from error


def _guard(data: bytes) -> None:
    """Refuse archives that unpack to too much, and markup that expands entities."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = archive.infolist()
        if len(members) > MAX_MEMBERS or sum(m.file_size for m in members) > MAX_UNPACKED:
            raise EntryError("The workbook unpacks to far more than a bench table.",
                             "Give only the sheet of this job.")
        for member in members:
            if member.filename.endswith((".xml", ".rels")):
                with archive.open(member) as part:
                    if b"<!DOCTYPE" in part.read(4096).upper():
                        raise EntryError("The workbook declares a document type.",
                                         "Save it again from a spreadsheet program.")


def _table_sheet(
    sheets: Sequence[Any], known: set[str]
) -> tuple[tuple[int, tuple[Cell, ...]], ...]:
    """The rows of the sheet that shows the columns of a bench table."""
    first: tuple[tuple[int, tuple[Cell, ...]], ...] = ()
    for sheet in sheets:
        rows = tuple(_sheet_rows(sheet))
        if any(sum(text_of(c) in known for c in cells) >= 2 for _, cells in rows[:30]):
            return rows
        first = first or rows
    return first


def _sheet_rows(sheet: Any) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    rows = sheet.iter_rows(max_row=MAX_ROWS + 100, max_col=MAX_COLUMNS + 1)
    for number, row in enumerate(rows, start=1):
        cells = [_cell(c) for c in row]
        while cells and cells[-1] == "":
            cells.pop()
        if cells:
            yield number, tuple(cells)


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return ""
    kinds = {"f": FORMULA, "e": ERROR, "b": BOOLEAN}
    if cell.data_type in kinds:
        return kinds[cell.data_type]
    if isinstance(value, bool):
        return BOOLEAN
    if isinstance(value, int | float):
        return PERCENT if "%" in str(cell.number_format) else float(value)
    if isinstance(value, datetime | date):
        return _Day(value.strftime("%Y-%m-%d"))
    if isinstance(value, time | timedelta):
        return DATE
    text = str(value).strip()
    return CONTROL if NOT_TEXT.search(text) else text


class _Day(str):
    """A date of a workbook, of use in the column ``day`` only."""

    __slots__ = ()


def is_date(cell: Cell) -> bool:
    """Whether the cell holds a date of a workbook."""
    return isinstance(cell, _Day)
