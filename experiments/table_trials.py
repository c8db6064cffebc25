"""From the rows of one trial in a bench table to what they say of it, every fault collected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.entries import EntryError, check_result, check_setting, read_recovery
from experiments.job import EvaporationJob, Setting
from experiments.table_cells import DATE, Cell, Unusable, is_date, text_of
from experiments.table_numbers import Sign, read_number
from experiments.trials import OUTCOMES, Trial

RECOVERY_PREFIX = "recovery_percent:"
PLAIN_COLUMNS = ("trial", "run_order", "vessel", "run_time_min", "outcome", "remark", "day")


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
    """The rows of one trial, by its id or, without one, by run order and setting."""

    label: str
    key: tuple[str, ...] = ()
    rows: list[TableRow] = field(default_factory=list)


def understand(
    group: Group, job: EvaporationJob, known: Mapping[str, Trial], sign: Sign
) -> tuple[UnderstoodTrial | None, list[RowFault]]:
    """What the rows of one trial say, or every reason why they cannot be taken."""
    reading = _Reading(group, job, known.get(group.label), sign)
    first = group.rows[0].number
    if group.label and reading.trial is None:
        near = ", ".join(known) or "none yet"
        return None, [RowFault(first, f"There is no trial {group.label[:40]!r} in this dossier.",
                               f"Trials: {near}; leave the cell empty for a run of your own.")]
    found = reading.whole()
    return (None if reading.faults else found), reading.faults


class _Reading:
    """Reads one group, collecting faults row by row."""

    def __init__(
        self, group: Group, job: EvaporationJob, trial: Trial | None, sign: Sign
    ) -> None:
        self.group, self.job, self.trial, self.sign = group, job, trial, sign
        self.faults: list[RowFault] = []
        self.first = group.rows[0].number

    def whole(self) -> UnderstoodTrial | None:
        rows, job = self.group.rows, self.job
        columns = {f.name for f in job.factors} | {RECOVERY_PREFIX + a.name for a in job.analytes}
        if not any(self._is_filled(r, columns) for r in rows):
            self._fault(self.first, "The row holds no results.",
                        "Fill in run time, outcome and recoveries, or delete the row.")
            return None
        self._usable_cells(columns)
        if self.faults:
            return None
        setting = self._setting()
        time = self._agreed_number("run_time_min", "run time")
        outcome = self._outcome()
        self._agreed("run_order")
        recovery = self._recoveries()
        day = self._agreed("day")
        if self.faults:
            return None
        held = self.trial.result if self.trial is not None else None
        if held is not None:  # further vessels of a trial recorded before
            time = held.run_time_min if time is None else time
            outcome = outcome or held.outcome
        outcome = outcome or "finished"
        remark = self._remark(columns)
        try:
            check_result(job, time, outcome, recovery, remark, day)
        except EntryError as error:
            self._fault(self.first, error.message, error.cure)
            return None
        label = self.group.label or None
        return UnderstoodTrial(label, setting, time, outcome, recovery, remark, day,
                               tuple(r.number for r in rows))

    def _fault(self, row: int, reason: str, cure: str) -> None:
        self.faults.append(RowFault(row, reason, cure))

    @staticmethod
    def _is_filled(row: TableRow, columns: set[str]) -> bool:
        """Whether anything was entered beyond what the bench sheet prints."""
        return any(
            cell != "" for name, cell in row.cells.items()
            if name in ("run_time_min", "outcome")
            or (name in columns and name.startswith(RECOVERY_PREFIX))
        )

    def _usable_cells(self, columns: set[str]) -> None:
        for row in self.group.rows:
            for name, cell in row.cells.items():
                if name not in columns and name not in PLAIN_COLUMNS:
                    continue
                wrong = DATE if is_date(cell) and name not in ("day", "remark") else cell
                if isinstance(wrong, Unusable):
                    self._fault(row.number, f"The cell in column {name!r} {wrong.reason}",
                                wrong.cure)

    def _agreed(self, column: str) -> str:
        """The one value that the rows give in a column; "" when none does."""
        values = list(dict.fromkeys(t for r in self.group.rows if (t := r.text(column))))
        if len(values) > 1:
            self._fault(self._row_of(column, values[1]),
                        f"The rows of this trial give different values of {column}: "
                        f"{', '.join(v[:40] for v in values[:4])}.", "Make them agree.")
        return values[0] if values else ""

    def _row_of(self, column: str, value: str) -> int:
        return next(r.number for r in self.group.rows if r.text(column) == value)

    def _agreed_number(self, column: str, what: str) -> float | None:
        """The one number that the rows give; 41 and 41.0 agree."""
        values: dict[float, int] = {}
        for row in self.group.rows:
            number = self._number(row, column, what)
            if number is not None:
                values.setdefault(number, row.number)
        if len(values) > 1:
            shown = ", ".join(f"{v:g}" for v in list(values)[:4])
            self._fault(list(values.values())[1],
                        f"The rows of this trial give different values of {column}: {shown}.",
                        "Make them agree.")
        return next(iter(values), None)

    def _number(self, row: TableRow, column: str, what: str) -> float | None:
        cell = row.cells.get(column, "")
        if isinstance(cell, float):
            return cell
        text = row.text(column)
        if not text:
            return None
        try:
            return read_number(text, self.sign)
        except EntryError as error:
            self._fault(row.number, f"The {what}: {error.message}", error.cure)
            return None

    def _outcome(self) -> str:
        outcome = self._agreed("outcome")
        folded = outcome.casefold()
        if folded and folded not in OUTCOMES:
            self._fault(self._row_of("outcome", outcome),
                        f"Outcome {outcome[:40]!r} is not known.",
                        f"Use one of: {', '.join(OUTCOMES)}.")
        return folded

    def _setting(self) -> Setting | None:
        given: dict[str, Any] = {}
        for factor in self.job.factors:
            value: Any = (self._agreed(factor.name) or None if factor.choices
                          else self._agreed_number(factor.name, factor.name))
            if value is not None:
                given[factor.name] = value
        if self.faults:
            return None
        if self.trial is not None:
            self._compare(self.trial, given)
            return None
        try:
            return check_setting(self.job, given)
        except EntryError as error:
            self._fault(self.first, error.message, error.cure)
            return None

    def _compare(self, trial: Trial, given: Mapping[str, Any]) -> None:
        """The setting printed for a known trial must be the one it was proposed at."""
        for name, value in given.items():
            planned = trial.setting[name]
            same = value == planned if isinstance(planned, str) else (
                abs(value - float(planned)) <= 1e-6 * max(1.0, abs(float(planned)))
            )
            if not same:
                shown, was = (v if isinstance(v, str) else f"{v:g}" for v in (value, planned))
                self._fault(self.first, f"{name} is {shown}, but {trial.id} stands at {was}.",
                            "Leave the trial cell empty to enter a run at another setting.")

    def _recoveries(self) -> dict[str, Any]:
        vessels = self._vessels()
        if self.faults:
            return {}
        found: dict[str, Any] = {}
        for analyte in self.job.analytes:
            column = RECOVERY_PREFIX + analyte.name
            readings = {
                place: reading for row, place in zip(self.group.rows, vessels, strict=True)
                if (reading := self._reading(row, column, analyte.name)) is not None
            }
            if None in readings:
                found[analyte.name] = readings[None]
            elif readings:
                found[analyte.name] = [
                    readings.get(i) for i in range(1, self.job.equipment.vessels + 1)
                ]
        return found

    def _vessels(self) -> list[int | None]:
        """The vessel of each row; None where a row speaks of the whole trial."""
        rows, count = self.group.rows, self.job.equipment.vessels
        places: list[int | None] = []
        for row in rows:
            number = self._number(row, "vessel", "vessel")
            if number is not None and (number != int(number) or not 1 <= number <= count):
                self._fault(row.number, f"Vessel {row.text('vessel')[:20]} does not exist.",
                            f"Use 1 to {count}.")
            place = None if number is None else int(number)
            if place in places:
                words = ("This trial stands twice without vessel numbers" if place is None
                         else f"Vessel {place} stands twice in this trial")
                self._fault(row.number, f"{words}.", "Keep one row, or number the vessels.")
            elif places and (place is None or places[0] is None):
                self._fault(row.number, "Some rows of this trial give a vessel, others none.",
                            "Give the vessel on every row of it.")
            places.append(place)
        return places

    def _reading(self, row: TableRow, column: str, analyte: str) -> float | str | None:
        cell = row.cells.get(column, "")
        text = row.text(column)
        if text.endswith("%"):
            text = text[:-1].rstrip()
        if not text:
            return None
        censored = text.startswith("<")
        body = text[1:].strip() if censored else text
        try:
            number = cell if isinstance(cell, float) else read_number(body, self.sign)
            read_recovery(analyte, number)
            reading = f"<{number:.12g}" if censored else number
            read_recovery(analyte, reading)
            return reading
        except EntryError as error:
            message = error.message if analyte in error.message else (
                f"The recovery of {analyte}: {error.message}")
            self._fault(row.number, message, error.cure)
            return None

    def _remark(self, columns: set[str]) -> str:
        """Remarks of all rows, and what stands in columns that have no place of their own."""
        parts = [r.text("remark") for r in self.group.rows]
        names: Sequence[str] = list(self.group.rows[0].cells)
        for name in names:
            if name in columns or name in PLAIN_COLUMNS:
                continue
            values = dict.fromkeys(t for r in self.group.rows if (t := r.text(name)))
            if values:
                parts.append(f"{name}: {', '.join(values)}")
        return "; ".join(dict.fromkeys(p for p in parts if p))[:2000]
