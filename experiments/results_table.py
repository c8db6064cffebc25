"""The only parser of bench tables: CSV, a paste, or XLSX, one row a vessel or one row a trial.

Nothing is guessed: what could be read two ways is refused with a sentence and a cure.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.entries import EntryError, check_result, check_setting, read_recovery
from experiments.job import EvaporationJob, Setting
from experiments.trials import Recovery, Trial

MAX_BYTES = 5_000_000
MAX_ROWS = 5_000
MAX_COLUMNS = 400
RECOVERY_PREFIX = "recovery_percent:"
PLAIN_COLUMNS = ("trial", "run_order", "vessel", "run_time_min", "outcome", "remark", "day")


@dataclass(frozen=True)
class RejectedRow:
    """A row that cannot be taken: its number in the table, why, and the cure."""

    row: int
    reason: str
    cure: str


@dataclass(frozen=True)
class UnderstoodTrial:
    """What the rows of one trial say; ``trial`` is None for one nobody proposed."""

    trial: str | None
    setting: Setting | None
    run_time_min: float | None
    outcome: str
    recovery_percent: dict[str, Any]
    remark: str
    day: str
    rows: tuple[int, ...]


@dataclass(frozen=True)
class ReadTable:
    """A table as understood; it may be recorded only when nothing was rejected."""

    trials: tuple[UnderstoodTrial, ...]
    rejected: tuple[RejectedRow, ...]
    notes: tuple[str, ...] = ()

    @property
    def is_clean(self) -> bool:
        return bool(self.trials) and not self.rejected


@dataclass
class _Row:
    number: int
    cells: dict[str, str]
    faults: list[tuple[str, str]] = field(default_factory=list)


def read_table(
    data: bytes | str, job: EvaporationJob, trials: Sequence[Trial] = ()
) -> ReadTable:
    """Read a bench table.

    Parameters
    ----------
    data : CSV text, or the bytes of a CSV or XLSX file
    job : whose factors and analytes name the columns
    trials : those of the dossier, to tell known ids

    Returns
    -------
    ReadTable; a table that cannot be read at all has one rejected row 0
    """
    try:
        rows, notes = _rows(data, job)
    except EntryError as error:
        return ReadTable((), (RejectedRow(0, error.message, error.cure),))
    known = {t.id: t for t in trials}
    groups: dict[str, list[_Row]] = {}
    for row in rows:
        label = row.cells.get("trial", "")
        key = label or f"new {_setting_text(row, job)}"
        groups.setdefault(key, []).append(row)
    understood, rejected = [], []
    for group in groups.values():
        try:
            found = _trial(group, job, known)
            if found is not None:
                understood.append(found)
        except _RowError as error:
            rejected.append(RejectedRow(error.row, error.message, error.cure))
    if not understood and not rejected:
        rejected.append(RejectedRow(0, "The table holds no results.",
                                    "Fill in run time, outcome and recoveries."))
    return ReadTable(tuple(understood), tuple(rejected), tuple(notes))


class _RowError(EntryError):
    def __init__(self, row: int, message: str, cure: str) -> None:
        super().__init__(message, cure)
        self.row = row


# -- from bytes to named cells ---------------------------------------------------------


def _rows(data: bytes | str, job: EvaporationJob) -> tuple[list[_Row], list[str]]:
    if len(data) > MAX_BYTES:
        raise EntryError("The table is larger than 5 MB.", "Give only the rows of this job.")
    if isinstance(data, bytes) and data[:2] == b"PK":
        grid = _xlsx(data)
    else:
        grid = _csv(_text(data))
    grid = [[c.strip() for c in row] for row in grid]
    start = next((i for i, row in enumerate(grid) if "trial" in row or "run_time_min" in row), None)
    if start is None:
        raise EntryError(
            "The table has no header row with the columns trial and run_time_min.",
            "Use the columns of the bench sheet.",
        )
    header = grid[start]
    _check_header(header, job)
    rows = []
    for i, cells in enumerate(grid[start + 1 :], start=start + 2):
        named = dict(zip(header, cells, strict=False))
        if len(cells) > len(header) and any(cells[len(header) :]):
            raise EntryError(f"Row {i} has more cells than the header.",
                             "Check the delimiter; a decimal comma needs semicolons or tabs.")
        if any(v for k, v in named.items() if k):
            rows.append(_Row(i, named))
    ignored = [h for h in header if h and not _is_known(h, job)]
    notes = [f"Column {h!r} is kept on paper only; it is not read." for h in ignored]
    return rows, notes


def _text(data: bytes | str) -> str:
    if isinstance(data, str):
        return data.lstrip("\ufeff")
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise EntryError("The table is neither text nor XLSX.", "Save it as CSV in UTF-8, or XLSX.")


def _csv(text: str) -> list[list[str]]:
    if not text.strip():
        raise EntryError("The table is empty.", "Fill in the bench sheet and give it again.")
    if "\x00" in text:
        raise EntryError("The table is not text.", "Save it as CSV in UTF-8, or XLSX.")
    first = next(line for line in text.splitlines() if line.strip())
    counts = {d: first.count(d) for d in ("\t", ";", ",")}
    delimiter = next((d for d in ("\t", ";", ",") if counts[d]), ",")
    try:
        grid = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    except csv.Error as error:
        raise EntryError(f"The table cannot be read ({error}).", "Save it again as CSV.") from error
    return _bounded(grid)


def _xlsx(data: bytes) -> list[list[str]]:
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(i.file_size for i in archive.infolist()) > 20 * MAX_BYTES:
                raise EntryError("The workbook unpacks to far more than a bench table.",
                                 "Give only the sheet of this job.")
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        grid = []
        for values in sheet.iter_rows(values_only=True, max_row=MAX_ROWS + 50,
                                      max_col=MAX_COLUMNS):
            grid.append(["" if v is None else _cell(v) for v in values])
        book.close()
    except EntryError:
        raise
    except Exception as error:  # openpyxl raises many kinds on damaged files
        raise EntryError(
            f"The workbook cannot be read ({type(error).__name__}).", "Save it again as XLSX."
        ) from error
    return _bounded(grid)


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return repr(value)
    return str(value)


def _bounded(grid: list[list[str]]) -> list[list[str]]:
    if len(grid) > MAX_ROWS or max((len(r) for r in grid), default=0) > MAX_COLUMNS:
        raise EntryError(f"The table has more than {MAX_ROWS} rows or {MAX_COLUMNS} columns.",
                         "Give only the rows of this job.")
    return grid


def _is_known(column: str, job: EvaporationJob) -> bool:
    return (
        column in PLAIN_COLUMNS
        or column.startswith(RECOVERY_PREFIX)
        or any(f.name == column for f in job.factors)
    )


def _check_header(header: list[str], job: EvaporationJob) -> None:
    named = [h for h in header if h]
    twice = {h for h in named if named.count(h) > 1}
    if twice:
        raise EntryError(f"Column {sorted(twice)[0]!r} stands twice.", "Remove one of them.")
    names = {a.name for a in job.analytes}
    for column in named:
        if column.startswith(RECOVERY_PREFIX):
            analyte = column[len(RECOVERY_PREFIX) :].strip()
            if analyte not in names:
                raise EntryError(f"{analyte!r} is not an analyte of this job.",
                                 f"Use one of: {', '.join(sorted(names))}.")


# -- from named cells to one trial -----------------------------------------------------


def _setting_text(row: _Row, job: EvaporationJob) -> str:
    names = ("run_order", *(f.name for f in job.factors))
    return "|".join(row.cells.get(name, "") for name in names)


def _trial(
    rows: list[_Row], job: EvaporationJob, known: dict[str, Trial]
) -> UnderstoodTrial | None:
    first = rows[0]
    label = first.cells.get("trial", "")
    filled = [r for r in rows if _is_filled(r)]
    if not filled:
        return None
    if label and label not in known:
        raise _RowError(first.number, f"There is no trial {label!r} in this dossier.",
                        "Correct the id, or leave it empty for a run nobody proposed.")
    setting = _setting(rows, job, known.get(label))
    time = _common(filled, "run_time_min", "run times")
    outcome = _common(filled, "outcome", "outcomes") or "finished"
    recovery = _recoveries(filled, job)
    remark = "; ".join(dict.fromkeys(r.cells["remark"] for r in filled if r.cells.get("remark")))
    minutes = _number(time, filled[0].number, "run time") if time else None
    day = _common(filled, "day", "days")
    try:
        check_result(job, minutes, outcome, recovery, remark)
    except EntryError as error:
        raise _RowError(filled[0].number, error.message, error.cure) from error
    return UnderstoodTrial(label or None, None if label else setting, minutes, outcome, recovery,
                           remark, day, tuple(r.number for r in rows))


def _is_filled(row: _Row) -> bool:
    """Whether anything was entered beyond what the bench sheet prints."""
    return any(
        value for key, value in row.cells.items()
        if key in ("run_time_min", "outcome") or key.startswith(RECOVERY_PREFIX)
    )


def _common(rows: list[_Row], key: str, what: str) -> str:
    values = {r.cells.get(key, "") for r in rows} - {""}
    if len(values) > 1:
        raise _RowError(rows[0].number, f"The rows of this trial give different {what} "
                        f"({', '.join(sorted(values))}).", "Make them agree.")
    return values.pop() if values else ""


def _setting(rows: list[_Row], job: EvaporationJob, trial: Trial | None) -> Setting | None:
    given: dict[str, Any] = {}
    for factor in job.factors:
        text = _common(rows, factor.name, f"values of {factor.name}")
        if text:
            given[factor.name] = (
                text if factor.choices else _number(text, rows[0].number, factor.name)
            )
    if trial is not None:
        for name, value in given.items():
            expected = trial.setting[name]
            same = value == expected if isinstance(expected, str) else (
                abs(float(value) - float(expected)) <= 1e-6 * max(1.0, abs(float(expected)))
            )
            if not same:
                raise _RowError(rows[0].number, f"{name} is {value}, but {trial.id} was proposed "
                                f"at {expected}.", "Leave the id empty to enter a run of your own.")
        return None
    try:
        return check_setting(job, given)
    except EntryError as error:
        raise _RowError(rows[0].number, error.message, error.cure) from error


def _number(text: str, row: int, what: str) -> float:
    """A number with either decimal sign; a form that could be read two ways is refused."""
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+", text):
        raise _RowError(row, f"{text!r} for {what} could mean a decimal comma or thousands.",
                        "Write it with a point, or without a separator.")
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        text = text.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", text):
        raise _RowError(row, f"{text[:40]!r} for {what} is not a number.", "Give a plain number.")
    return float(text)


def _recoveries(rows: list[_Row], job: EvaporationJob) -> dict[str, Any]:
    by_vessel = any(r.cells.get("vessel") for r in rows)
    if not by_vessel and len(rows) > 1:
        raise _RowError(rows[1].number, "This trial stands twice without vessel numbers.",
                        "Give the vessel of each row, or keep one row.")
    found: dict[str, Any] = {}
    for analyte in job.analytes:
        key = RECOVERY_PREFIX + analyte.name
        if not any(r.cells.get(key) for r in rows):
            continue
        if not by_vessel:
            found[analyte.name] = _plain(_reading(rows[0], key, analyte.name))
            continue
        values: list[Any] = [None] * job.equipment.vessels
        for row in rows:
            reading = _reading(row, key, analyte.name)
            place = _vessel(row, job.equipment.vessels) - 1
            if reading is not None and values[place] is not None:
                raise _RowError(row.number, f"Vessel {place + 1} stands twice in this trial.",
                                "Keep one row a vessel.")
            values[place] = _plain(reading) if reading is not None else values[place]
        found[analyte.name] = values
    return found


def _vessel(row: _Row, vessels: int) -> int:
    text = row.cells.get("vessel", "")
    if not text:
        raise _RowError(row.number, "The vessel number is missing.", "Give it on every row.")
    number = _number(text, row.number, "vessel")
    if number != int(number) or not 1 <= number <= vessels:
        raise _RowError(row.number, f"Vessel {text} does not exist.", f"Use 1 to {vessels}.")
    return int(number)


def _reading(row: _Row, key: str, analyte: str) -> Recovery | None:
    text = row.cells.get(key, "").replace("%", "").strip()
    if not text:
        return None
    sign, body = ("<", text[1:].strip()) if text.startswith("<") else ("", text)
    value = _number(body, row.number, f"the recovery of {analyte}")
    try:
        return read_recovery(analyte, f"{sign}{value!r}" if sign else value)
    except EntryError as error:
        raise _RowError(row.number, error.message, error.cure) from error


def _plain(reading: Recovery | None) -> Any:
    if reading is None:
        return None
    return f"<{reading.percent:g}" if reading.censored else reading.percent
