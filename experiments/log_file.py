"""From the bytes of an instrument's log to a table of cells, with nothing trusted or dropped.

Comma, semicolon, tab and bar separate columns; lines before the header and a line of units below
it are understood; quotes, byte-order marks and Windows-1252 too.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from experiments.entries import EntryError
from experiments.job_fields import NOT_TEXT
from experiments.log_moments import looks_like_moment
from experiments.table_cells import decoded
from experiments.wording import counted, is_or_are

MAX_BYTES = 20_000_000
MOST_READINGS = 50_000
MOST_COLUMNS = 200
DELIMITERS = ("\t", ";", ",", "|")
LOOKED_THROUGH = 60
"""Lines in which the header must stand."""
ALIKE = 3
"""Lines of readings below a header by which it is recognised."""
MISSING = frozenset(("", "nan", "n/a", "na", "null", "none", "-", "--", "---", "–"))
"""What loggers write, in small letters, where they have no reading."""
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$")


@dataclass(frozen=True)
class LogTable:
    """Headers, and for each the cells of its column; ``lines`` number the rows in the file.

    ``sha256`` is that of the file's bytes.
    """

    headers: tuple[str, ...]
    columns: dict[str, tuple[str, ...]]
    lines: tuple[int, ...]
    notes: tuple[str, ...]
    sha256: str

    def first(self, count: int = 50) -> dict[str, tuple[str, ...]]:
        """The first cells of each column."""
        return {h: cells[:count] for h, cells in self.columns.items()}


def read_log_file(data: bytes | str) -> LogTable:
    """The table of a log.

    Raises
    ------
    EntryError
        for what is no table of readings with a header
    """
    if len(data) > MAX_BYTES:
        raise EntryError(f"The log is larger than {MAX_BYTES // 1_000_000} MB.",
                         "Give only this run, or a longer interval between readings.")
    if isinstance(data, bytes) and data[:2] in (b"PK", b"\xd0\xcf"):
        raise EntryError("This is a workbook, not a log.", "Save its sheet as CSV.")
    text, notes = decoded(data)
    if NOT_TEXT.search(text):
        raise EntryError("The log holds characters that are no text.", "Save it as CSV in UTF-8.")
    rows, header = _split(text)
    names, first, units = _named(rows, header)
    body = [(n, cells) for n, cells in rows[first:] if any(cells)]
    if len(body) > MOST_READINGS:
        raise EntryError(f"The log has {len(body)} readings, more than {MOST_READINGS}.",
                         "Give only this run, or a longer interval between readings.")
    notes += _shape_notes(len(names), body)
    if header:
        notes += (f"{counted(header, 'line')} before the header "
                  f"{is_or_are(header)} no readings.",)
    if units:
        notes += ("The line below the header was read as units.",)
    filled = [(*cells, *("",) * (len(names) - len(cells)))[: len(names)] for _, cells in body]
    columns = {name: tuple(column) for name, column in
               zip(names, zip(*filled, strict=True), strict=True)}
    digest = hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()
    return LogTable(names, columns, tuple(n for n, _ in body), notes, digest)


Rows = list[tuple[int, tuple[str, ...]]]


def _split(text: str) -> tuple[Rows, int]:
    """Rows by the delimiter that shows most columns, and where the header stands."""
    best: tuple[int, Rows, int] | None = None
    for delimiter in DELIMITERS:
        try:
            parsed = [tuple(c.strip() for c in cells)
                      for cells in csv.reader(io.StringIO(text), delimiter=delimiter)]
        except csv.Error:
            continue
        rows = [(n, cells) for n, cells in enumerate(parsed, start=1) if any(cells)]
        header = _header(rows)
        if header is not None:
            width = len(_trimmed(rows[header][1]))
            if best is None or width > best[0]:
                best = width, rows, header
    if best is None:
        raise EntryError(
            "No header with readings below it is found in the log.",
            "Give a CSV with one line of column names and at least "
            f"{ALIKE} lines of numbers below.")
    if best[0] > MOST_COLUMNS:
        raise EntryError(f"The log has more than {MOST_COLUMNS} columns.",
                         "Give the columns of this run.")
    return best[1], best[2]


def _header(rows: Rows) -> int | None:
    """The first line of names that has lines of readings below it."""
    for i, (_, cells) in enumerate(rows[:LOOKED_THROUGH]):
        names = _trimmed(cells)
        if len(names) < 2 or _is_reading(names):
            continue
        for skip in (1, 2):  # with a line of units between
            below = rows[i + skip : i + skip + ALIKE]
            if len(below) == ALIKE and all(
                len(_trimmed(c)) <= len(names) and len(c) >= 2 and _is_reading(c[: len(names)])
                for _, c in below
            ):
                return i
    return None


def _named(rows: Rows, header: int) -> tuple[tuple[str, ...], int, bool]:
    """Names of the columns, the first row of readings, and whether units stood between."""
    names = list(_trimmed(rows[header][1]))
    below = rows[header + 1][1]
    has_units = not _is_reading(below[: len(names)])
    if has_units:
        names = [f"{n} [{u.strip('[]()')}]" if u and f"[{u}]" not in n else n
                 for n, u in zip(names, (*below, *("",) * len(names)), strict=False)]
    seen: dict[str, int] = {}
    for i, name in enumerate(names):
        plain = name or f"column {i + 1}"
        seen[plain] = seen.get(plain, 0) + 1
        names[i] = plain if seen[plain] == 1 else f"{plain} ({seen[plain]})"
    return tuple(names), header + 1 + has_units, has_units


def _trimmed(cells: Sequence[str]) -> tuple[str, ...]:
    """Without empty cells at the end, which a closing delimiter leaves."""
    kept = list(cells)
    while kept and not kept[-1]:
        kept.pop()
    return tuple(kept)


def _is_reading(cells: Sequence[str]) -> bool:
    """Whether a line holds numbers or moments, with gaps perhaps, and no words."""
    told = [c for c in cells if c.casefold() not in MISSING]
    plain = [bool(_NUMBER.match(c)) or looks_like_moment(c) for c in told]
    return len(told) > 0 and sum(plain) >= max(1, len(plain) - 1) and plain[0]


def _shape_notes(width: int, body: Rows) -> tuple[str, ...]:
    long = next((n for n, cells in body if any(cells[width:])), None)
    if long is not None:
        raise EntryError(f"Line {long} of the log has more cells than the header has names.",
                         "Give each column a name, or write numbers without separators in them.")
    short = [n for n, cells in body if len(cells) < width]
    if not short:
        return ()
    return (f"{counted(len(short), 'line')} (the first is line {short[0]}) "
            "shorter than the header: the readings at the end are missing.",)
