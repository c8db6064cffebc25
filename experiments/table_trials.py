"""From the rows of one trial in a bench table to what they say of it, every fault collected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.entries import (
    EntryError,
    check_result,
    check_setting,
    time_and_outcome,
    written_day_key,
)
from experiments.job import EvaporationJob, Setting
from experiments.table_amounts import CORRECTED, FOUND_PREFIX
from experiments.table_cells import DATE, Unusable, is_date
from experiments.table_group import GroupReader
from experiments.table_numbers import Sign
from experiments.table_recoveries import ReadRecoveries, read_recoveries
from experiments.table_rows import (
    PLAIN_COLUMNS,
    RECOVERY_PREFIX,
    Group,
    RowFault,
    TableRow,
    table_columns,
)
from experiments.trials import OUTCOMES, Trial


@dataclass(frozen=True)
class UnderstoodTrial:
    """What the rows of one trial say; ``trial`` is None for one nobody proposed.

    ``corrected`` recoveries hide losses and are kept out of the fit; ``blank_percent`` is what
    the blank held of the spike, by analyte, where recoveries were worked out from amounts.
    ``of_blanks`` are vessels remarked as blanks, or "the row", whose recoveries are left out.
    """

    trial: str | None
    setting: Setting | None
    run_time_min: float | None
    outcome: str
    recovery_percent: dict[str, Any]
    remark: str
    day: str
    rows: tuple[int, ...]
    corrected: bool = False
    blank_percent: dict[str, float] = field(default_factory=dict)
    of_blanks: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What the reader may call it."""
        return self.trial or f"New trial in row {self.rows[0]}"


def understand(
    group: Group, job: EvaporationJob, known: Mapping[str, Trial], sign: Sign,
    references: Sequence[TableRow] = (), usual: Setting | None = None,
) -> tuple[UnderstoodTrial | None, list[RowFault]]:
    """What the rows of one trial say, or every reason why they cannot be taken.

    ``references`` are rows of unevaporated spikes that belong to no single trial, ``usual`` the
    setting of a new run that gives none.
    """
    trial, reader = known.get(group.label), GroupReader(group, sign)
    if group.label and trial is None:
        near = ", ".join(known) or "none yet"
        reader.fault(reader.first, f"There is no trial {group.label[:40]!r} in this dossier.",
                     f"Trials: {near}; leave the cell empty for a run of your own.")
        return None, reader.faults
    found = _Reading(reader, job, trial, usual).whole(references)
    return (None if reader.faults else found), reader.faults


class _Reading:
    """Reads the whole of one trial, faults going to the reader of its rows."""

    def __init__(
        self, reader: GroupReader, job: EvaporationJob, trial: Trial | None,
        usual: Setting | None,
    ) -> None:
        self.reader, self.job, self.trial, self.usual = reader, job, trial, usual
        self.columns = set(table_columns(job)) - set(PLAIN_COLUMNS)

    def whole(self, references: Sequence[TableRow]) -> UnderstoodTrial | None:
        """The trial; None where there is a fault."""
        reader, job = self.reader, self.job
        if not any(self._is_filled(r) for r in reader.rows):
            reader.fault(reader.first, "The row holds no results.",
                         "Fill in run time, outcome and recoveries, or delete the row.")
            return None
        self._usable_cells()
        if reader.faults:
            return None
        setting = self._setting()
        said = reader.agreed_number("run_time_min", "run time"), self._outcome() or None
        reader.agreed("run_order")
        day = reader.agreed("day", written_day_key)
        corrected = self._corrected()
        read = read_recoveries(reader, job, references, day, corrected)
        if reader.faults:
            return None
        held = self.trial.result if self.trial is not None else None
        time, outcome = time_and_outcome(held, *said)
        remark = self._remark(read)
        try:
            check_result(job, time, outcome, read.percent, remark, day, corrected)
        except EntryError as error:
            reader.fault(reader.first, error.message, error.cure)
            return None
        return UnderstoodTrial(
            reader.label or None, setting, time, outcome, read.percent, remark, day,
            tuple(r.number for r in reader.rows), corrected, read.blank_percent,
            tuple(dict.fromkeys(read.of_blanks)), (*read.warnings, *self._not_kept()))

    def _is_filled(self, row: TableRow) -> bool:
        """Whether anything was entered beyond what the bench sheet prints."""
        return any(
            cell != "" for name, cell in row.cells.items()
            if name in ("run_time_min", "outcome")
            or (name in self.columns and name.startswith((RECOVERY_PREFIX, FOUND_PREFIX)))
        )

    def _usable_cells(self) -> None:
        for row in self.reader.rows:
            for name, cell in row.cells.items():
                if name not in self.columns and name not in PLAIN_COLUMNS:
                    continue
                wrong = DATE if is_date(cell) and name not in ("day", "remark") else cell
                if isinstance(wrong, Unusable):
                    self.reader.fault(row.number, f"The cell in column {name!r} {wrong.reason}",
                                      wrong.cure)

    def _outcome(self) -> str:
        texts = (r.text("outcome") for r in self.reader.rows)
        unknown = next((t for t in texts if t and t.casefold() not in OUTCOMES), "")
        if unknown:  # a slip of the pen is no disagreement
            self.reader.fault(self.reader.row_of("outcome", unknown),
                              f"Outcome {unknown[:40]!r} is not known.",
                              f"Use one of: {', '.join(OUTCOMES)}.")
            return ""
        return self.reader.agreed("outcome").casefold()

    def _setting(self) -> Setting | None:
        given: dict[str, Any] = {}
        for factor in self.job.factors:
            value: Any = (self.reader.agreed(factor.name) or None if factor.choices
                          else self.reader.agreed_number(factor.name, factor.name))
            if value is not None:
                given[factor.name] = value
        if self.reader.faults:
            return None
        if self.trial is not None:
            self._compare(self.trial, given)
            return None
        if not given and self.usual is None:
            self.reader.fault(self.reader.first, "The row gives neither a trial nor settings.",
                              "Write the trial into every row of it, because merged cells are "
                              "empty but for the first; a run of its own needs its settings.")
            return None
        try:
            return check_setting(self.job, given or self.usual or {})
        except EntryError as error:
            self.reader.fault(self.reader.first, error.message.removeprefix("setting."),
                              error.cure)
            return None

    def _compare(self, trial: Trial, given: Mapping[str, Any]) -> None:
        """The setting printed for a known trial must be the one it was proposed at."""
        for name, value in given.items():
            planned = trial.setting.get(name)
            if planned is None:  # proposed before the job had that factor
                continue
            same = value == planned if isinstance(planned, str) else (
                abs(value - float(planned)) <= 1e-6 * max(1.0, abs(float(planned)))
            )
            if not same:
                shown, was = (v if isinstance(v, str) else f"{v:.12g}" for v in (value, planned))
                self.reader.fault(
                    self.reader.first, f"{name} is {shown}, but {trial.id} stands at {was}.",
                    "Leave the trial cell empty to enter a run at another setting.")

    def _corrected(self) -> bool:
        text = self.reader.agreed("corrected").casefold()
        if text not in CORRECTED:
            self.reader.fault(self.reader.row_of("corrected", self.reader.agreed("corrected")),
                              f"{text[:20]!r} in the column corrected is not known.",
                              "Write yes, no, or leave it empty.")
        return CORRECTED.get(text, False)

    def _own_columns(self) -> list[str]:
        """Columns that have no place of their own in the record."""
        return [n for n in self.reader.rows[0].cells
                if n not in self.columns and n not in PLAIN_COLUMNS]

    def _remark(self, read: ReadRecoveries) -> str:
        """Remarks of all rows, and what stands in columns that have no place of their own."""
        rows = self.reader.rows
        parts = [*read.worked_out, *(r.text("remark") for r in rows)]
        for name in self._own_columns():
            values = dict.fromkeys(t for r in rows if (t := r.text(name)))
            if values:
                parts.append(f"{name}: {', '.join(values)}")
        return "; ".join(dict.fromkeys(p for p in parts if p))

    def _not_kept(self) -> list[str]:
        """What cannot become a remark, said once."""
        return list(dict.fromkeys(
            f"What stands in the column {name!r} is not kept, because it {cell.reason}"
            for name in self._own_columns() for r in self.reader.rows
            if isinstance(cell := r.cells[name], Unusable)))
