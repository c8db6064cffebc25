"""Rows of a bench table, and the columns they may have."""

from __future__ import annotations

from dataclasses import dataclass, field

from experiments.job import EvaporationJob
from experiments.table_amounts import AMOUNT_PREFIXES, control
from experiments.table_cells import Cell, text_of

RECOVERY_PREFIX = "recovery_percent:"
PLAIN_COLUMNS = ("trial", "run_order", "vessel", "run_time_min", "outcome", "remark", "day",
                 "corrected")


@dataclass(frozen=True)
class RowFault:
    """Why a row cannot be taken, and the cure."""

    row: int
    reason: str
    cure: str


@dataclass
class TableRow:
    """A row by column; its number is that of the file."""

    number: int
    cells: dict[str, Cell]

    def text(self, column: str) -> str:
        return text_of(self.cells.get(column, "")).strip()


@dataclass
class Group:
    """The rows of one trial, by its id or, without one, by run order and setting (its key)."""

    label: str
    key: tuple[str, ...] = ()
    rows: list[TableRow] = field(default_factory=list)


def row_control(row: TableRow) -> str:
    """"reference" or "blank" for a row that is no sample, else an empty string."""
    return control(row.text("vessel"), row.text("remark"))


def table_columns(job: EvaporationJob) -> tuple[str, ...]:
    """Every column that a trial table of this job may have and the record needs."""
    return (*PLAIN_COLUMNS, *(f.name for f in job.factors),
            *(prefix + a.name for a in job.analytes
              for prefix in (RECOVERY_PREFIX, *AMOUNT_PREFIXES)))
