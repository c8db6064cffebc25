"""The only parser of bench tables: CSV, a paste, or XLSX, one row a vessel or one row a trial.

Nothing is guessed: what could be read two ways is refused with a sentence and a cure, every
refused row at once. Columns that a bench sheet prints but the record does not need are kept
as remarks of the trial.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass

from experiments.entries import EntryError
from experiments.job import EvaporationJob, Setting
from experiments.table_amounts import AMOUNT_PREFIXES, control
from experiments.table_cells import Cell, Grid, read_cells, text_of
from experiments.table_doubts import doubts
from experiments.table_numbers import decimal_sign
from experiments.table_repeats import recorded_before, strays
from experiments.table_rows import (
    RECOVERY_PREFIX,
    Group,
    RowFault,
    TableRow,
    row_control,
    table_columns,
)
from experiments.table_trials import UnderstoodTrial, understand
from experiments.trials import OUTCOMES, Trial
from experiments.wording import listed

__all__ = ["ReadTable", "RejectedRow", "UnderstoodTrial", "read_table"]

FORECAST_COLUMNS = ("reason", "expected_run_time_min")
"""Printed for the analyst; what was expected is no result."""
FORECAST_PREFIX = "expected_recovery_percent:"
_RECOVERED = re.compile(r"recover|%", re.IGNORECASE)


@dataclass(frozen=True)
class RejectedRow:
    """A row that cannot be taken: its number in the file (0: the whole), why, and the cure."""

    row: int
    reason: str
    cure: str


@dataclass(frozen=True)
class ReadTable:
    """A table as understood; it may be recorded only when nothing was rejected."""

    trials: tuple[UnderstoodTrial, ...]
    rejected: tuple[RejectedRow, ...]
    notes: tuple[str, ...] = ()

    @property
    def is_clean(self) -> bool:
        return bool(self.trials) and not self.rejected


def read_table(
    data: bytes | str, job: EvaporationJob, trials: Sequence[Trial] = (),
    usual: Setting | None = None,
) -> ReadTable:
    """Read a bench table.

    Parameters
    ----------
    data : CSV text, or the bytes of a CSV or XLSX file
    job : whose factors and analytes name the columns
    trials : those of the dossier, to tell known ids
    usual : setting of a run without a trial that gives none, when there is one

    Returns
    -------
    ReadTable; a table that cannot be read at all has one rejected row 0
    """
    names = table_columns(job)
    try:
        grid = read_cells(data, names)
        header_row, header = _header(grid, job, names)
    except EntryError as error:
        return ReadTable((), (RejectedRow(0, error.message, error.cure),))
    rows, faults = _rows(grid, header_row, header)
    unknown = [h for h in header if h and h not in names and not _is_forecast(h)]
    faults += _outcomes_elsewhere(rows, unknown)
    numeric = [h for h in header if _is_numeric(h, job)]
    sign = decimal_sign(
        text for row in rows for h in numeric if isinstance(text := row.cells[h], str)
    )
    faults += _recoveries_of_controls(rows)
    known = {t.id: t for t in trials}
    understood: list[UnderstoodTrial] = []
    shared = [r for r in rows if not r.text("trial") and row_control(r) == "reference"]
    groups = _groups([r for r in rows if r not in shared], job)
    for group in groups:
        found, wrong = understand(group, job, known, sign, shared, usual)
        faults += wrong
        if found is not None:
            understood.append(found)
    faulty = {f.row for f in faults}
    faults += [f for f in strays(groups) if f.row not in faulty]
    faults += recorded_before(job, understood, known)
    if not rows and not faults:
        faults.append(RowFault(0, "The table has a header but no rows.",
                               "Fill in the bench sheet and give it again."))
    rejected = tuple(RejectedRow(f.row, f.reason, f.cure)
                     for f in sorted(faults, key=lambda f: f.row))
    return ReadTable(tuple(understood), rejected, (
        *grid.notes, *_column_notes(rows, unknown), *_notes(understood),
        *doubts(job, understood, known)))


def _header(
    grid: Grid, job: EvaporationJob, names: Sequence[str]
) -> tuple[int, tuple[str, ...]]:
    """The number of the header row and its columns."""
    for number, cells in grid.rows[:30]:
        texts = tuple(_title(text_of(c)) for c in cells)
        if "trial" in texts or "run_time_min" in texts:
            _check_header(texts, job, names)
            return number, texts
    raise EntryError("The table has no header row with the columns trial and run_time_min.",
                     "Use the columns of the bench sheet.")


def _title(text: str) -> str:
    """A column's title; spaces after the colon of its prefix do not count."""
    prefix, colon, name = text.strip().partition(":")
    known = (RECOVERY_PREFIX, FORECAST_PREFIX, *AMOUNT_PREFIXES)
    return f"{prefix}:{name.strip()}" if f"{prefix}{colon}" in known else text.strip()


def _check_header(header: Sequence[str], job: EvaporationJob, names: Sequence[str]) -> None:
    named = [h for h in header if h]
    twice = sorted({h for h in named if named.count(h) > 1})
    if twice:
        raise EntryError(f"Column {twice[0]!r} stands twice.", "Remove one of them.")
    analytes = [a.name for a in job.analytes]
    for column in named:
        if column in names or _is_forecast(column):
            continue
        if column.startswith((RECOVERY_PREFIX, *AMOUNT_PREFIXES)):
            name = column.partition(":")[2].strip()
            split = next((a for a in analytes if a.startswith(f"{name},")), None)
            raise EntryError(
                f"{name[:80]!r} is not an analyte of this job.",
                f"Use one of: {', '.join(analytes)}." if split is None else
                f"Put the title of {split!r} in quotation marks, because of its comma.",
            )
        about = next((a for a in analytes if a.casefold() in column.casefold()), None)
        if about is not None and (
            _RECOVERED.search(column) or column.casefold() == about.casefold()
        ):
            raise EntryError(f"Column {column[:80]!r} is not known.",
                             f"Is {RECOVERY_PREFIX + about!r} meant?")
        folded = {n.casefold(): n for n in names}
        near = difflib.get_close_matches(column.casefold(), folded, n=1, cutoff=0.85)
        if near:
            raise EntryError(f"Column {column[:80]!r} is not known.",
                             f"Is {folded[near[0]]!r} meant?")


def _is_forecast(column: str) -> bool:
    return column in FORECAST_COLUMNS or column.startswith(FORECAST_PREFIX)


def _is_numeric(column: str, job: EvaporationJob) -> bool:
    return (
        column in ("run_time_min", "vessel", "run_order")
        or column.startswith((RECOVERY_PREFIX, *AMOUNT_PREFIXES))
        or any(f.name == column and not f.choices for f in job.factors)
    )


def _rows(
    grid: Grid, header_row: int, header: Sequence[str]
) -> tuple[list[TableRow], list[RowFault]]:
    rows, faults = [], []
    for number, cells in grid.rows:
        is_comment = header[0] == "trial" and text_of(cells[0]).startswith("#")
        if number <= header_row or is_comment:
            continue
        if any(text_of(c) for c in cells[len(header):]):
            faults.append(RowFault(
                number, f"The row has {len(cells)} cells for {len(header)} columns.",
                "Check the delimiter; with a decimal comma use semicolons or tabs."
                if grid.delimiter else "Give every column a name in the header.",
            ))
            continue
        fault = _split_number(number, cells, header) if grid.delimiter == "," else None
        if fault is not None:
            faults.append(fault)
            continue
        padded = [*cells, *[""] * len(header)]
        rows.append(TableRow(number, {
            h: c for h, c in zip(header, padded, strict=False) if h and not _is_forecast(h)
        }))
    return [r for r in rows if any(c != "" for c in r.cells.values())], faults


def _split_number(
    number: int, cells: Sequence[Cell], header: Sequence[str]
) -> RowFault | None:
    """A decimal comma between commas: 88,1 fills the next column with its decimals."""
    for i in range(1, min(len(cells), len(header))):
        left, right = text_of(cells[i - 1]), text_of(cells[i])
        if not (header[i - 1].startswith(RECOVERY_PREFIX) and left.isdigit() and right.isdigit()):
            continue
        stray_remark = header[i] == "remark"
        stray_digit = (
            header[i].startswith(RECOVERY_PREFIX) and len(right) == 1 and len(cells) < len(header)
        )
        if stray_remark or stray_digit:
            return RowFault(
                number, f"{left},{right} could be one number with a decimal comma or two cells.",
                "Use points, or put semicolons between the cells.",
            )
    return None


def _recoveries_of_controls(rows: Sequence[TableRow]) -> list[RowFault]:
    """A recovery typed for a blank or a reference has no place and would be lost."""
    return [
        RowFault(row.number, f"A {what} has no recovery.",
                 "Leave it empty, or give the amount found in a column found_ug.")
        for row in rows if (what := control(row.text("vessel"), ""))
        and any(c != "" for name, c in row.cells.items() if name.startswith(RECOVERY_PREFIX))
    ]


def _groups(rows: Sequence[TableRow], job: EvaporationJob) -> list[Group]:
    """Rows of one trial together; a row without an id opens a new trial.

    Vessel rows without an id belong together when they share run order and setting and no
    vessel stands twice; without a run order they must also follow each other.
    """
    groups: list[Group] = []
    named: dict[str, Group] = {}
    last: Group | None = None
    for row in rows:
        label = row.text("trial")
        key = tuple(_as_number(row.text(n)) for n in ("run_order", *(f.name for f in job.factors)))
        if label:
            group = named.get(label)
            if group is None:
                group = named[label] = Group(label, key)
                groups.append(group)
        else:
            group = _open_group(groups, row, key, last)
        group.rows.append(row)
        last = group
    return groups


def _as_number(text: str) -> str:
    """A cell's text, a number however it was written: 40, 40.0 and 40,0 are one."""
    try:
        return repr(float(text.replace(",", ".")))
    except ValueError:
        return text


def _open_group(
    groups: list[Group], row: TableRow, key: tuple[str, ...], last: Group | None
) -> Group:
    vessel = row.text("vessel")
    if vessel:
        for group in groups:
            if group.label or group.key != key or (not key[0] and group is not last):
                continue
            taken = [r.text("vessel") for r in group.rows]
            if vessel not in taken and "" not in taken:
                return group
    groups.append(Group("", key))
    return groups[-1]


def _outcomes_elsewhere(rows: Sequence[TableRow], unknown: Sequence[str]) -> list[RowFault]:
    """An outcome in a column of another name would be taken for a remark."""
    return [
        RowFault(row.number, f"The column {name[:80]!r} holds the outcome {row.text(name)!r}.",
                 "Call that column 'outcome'.")
        for row in rows for name in unknown
        if row.text(name).casefold() in OUTCOMES and not row.text("outcome")
    ]


def _column_notes(rows: Sequence[TableRow], unknown: Sequence[str]) -> list[str]:
    """What becomes of columns that the record has no place for."""
    kept = [repr(n[:80]) for n in unknown if any(row.text(n) for row in rows)]
    if not kept:
        return []
    subject = f"The columns {listed(kept)} are" if len(kept) > 1 else f"The column {kept[0]} is"
    return [f"{subject} not known; what stands there is kept as a remark."]


def _notes(trials: Sequence[UnderstoodTrial]) -> list[str]:
    return [
        *(f"Rows {listed(list(map(str, t.rows)), 12)} give no trial and are one new trial."
          for t in trials if t.trial is None and len(t.rows) > 1),
        *(f"{t.name}: {w}" for t in trials for w in t.warnings),
        *_left_out(trials),
    ]


def _left_out(trials: Sequence[UnderstoodTrial]) -> list[str]:
    """Recoveries of blanks, told once for the whole table."""
    places = [f"{t.name}: {listed(t.of_blanks)}" for t in trials if t.of_blanks]
    return [] if not places else [
        f"What is remarked as a blank has its recoveries left out ({'; '.join(places)}). Take the "
        "remark away if a sample was in that vessel."]
