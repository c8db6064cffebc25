"""From the rows of one trial in a bench table to what they say of it, every fault collected."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.entries import (
    EntryError,
    check_result,
    check_setting,
    read_recovery,
    time_and_outcome,
    written_day_key,
)
from experiments.job import Analyte, EvaporationJob, Setting
from experiments.table_amounts import (
    CONTROL,
    CORRECTED,
    FOUND_PREFIX,
    SPIKED_PREFIX,
    Amount,
    Amounts,
    must_not_stand_twice,
    read_amount,
    work_out,
)
from experiments.table_cells import DATE, Unusable, is_date
from experiments.table_numbers import Sign, read_number
from experiments.table_rows import (
    PLAIN_COLUMNS,
    RECOVERY_PREFIX,
    Group,
    RowFault,
    TableRow,
    row_control,
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
    reading = _Reading(group, job, known.get(group.label), sign, references, usual)
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
        self, group: Group, job: EvaporationJob, trial: Trial | None, sign: Sign,
        references: Sequence[TableRow], usual: Setting | None,
    ) -> None:
        self.group, self.job, self.trial, self.sign = group, job, trial, sign
        self.references, self.usual = references, usual
        self.samples = [r for r in group.rows if not CONTROL.fullmatch(
            r.text("vessel").casefold())]
        self.blank_percent: dict[str, float] = {}
        self.worked_out: list[str] = []
        self.of_blanks: list[str] = []
        self.warnings: list[str] = []
        self.faults: list[RowFault] = []
        self.first = group.rows[0].number

    def whole(self) -> UnderstoodTrial | None:
        rows, job = self.group.rows, self.job
        columns = set(table_columns(job)) - set(PLAIN_COLUMNS)
        if not any(self._is_filled(r, columns) for r in rows):
            self._fault(self.first, "The row holds no results.",
                        "Fill in run time, outcome and recoveries, or delete the row.")
            return None
        self._usable_cells(columns)
        if self.faults:
            return None
        setting = self._setting()
        said = self._agreed_number("run_time_min", "run time"), self._outcome() or None
        self._agreed("run_order")
        day = self._agreed("day", written_day_key)
        corrected = self._corrected()
        recovery = self._recoveries(day, corrected)
        if self.faults:
            return None
        held = self.trial.result if self.trial is not None else None
        time, outcome = time_and_outcome(held, *said)
        remark = self._remark(columns)
        try:
            check_result(job, time, outcome, recovery, remark, day, corrected)
        except EntryError as error:
            self._fault(self.first, error.message, error.cure)
            return None
        label = self.group.label or None
        return UnderstoodTrial(label, setting, time, outcome, recovery, remark, day,
                               tuple(r.number for r in rows), corrected,
                               self.blank_percent, tuple(dict.fromkeys(self.of_blanks)),
                               tuple(self.warnings))

    def _fault(self, row: int, reason: str, cure: str) -> None:
        self.faults.append(RowFault(row, reason, cure))

    @staticmethod
    def _is_filled(row: TableRow, columns: set[str]) -> bool:
        """Whether anything was entered beyond what the bench sheet prints."""
        return any(
            cell != "" for name, cell in row.cells.items()
            if name in ("run_time_min", "outcome")
            or (name in columns and name.startswith((RECOVERY_PREFIX, FOUND_PREFIX)))
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

    def _agreed(self, column: str, key: Callable[[str], str] = str.casefold) -> str:
        """The first of the values that the rows give in a column, all of one key; "" for none."""
        texts = [t for r in self.group.rows if (t := r.text(column))]
        values = [t for i, t in enumerate(texts) if key(t) not in map(key, texts[:i])]
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
        texts = (r.text("outcome") for r in self.group.rows)
        unknown = next((t for t in texts if t and t.casefold() not in OUTCOMES), "")
        if unknown:  # a slip of the pen is no disagreement
            self._fault(self._row_of("outcome", unknown),
                        f"Outcome {unknown[:40]!r} is not known.",
                        f"Use one of: {', '.join(OUTCOMES)}.")
            return ""
        return self._agreed("outcome").casefold()

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
        if not given and self.usual is None:
            self._fault(self.first, "The row gives neither a trial nor settings.",
                        "Write the trial into every row of it, because merged cells are empty "
                        "but for the first; a run of its own needs its settings.")
            return None
        try:
            return check_setting(self.job, given or self.usual or {})
        except EntryError as error:
            self._fault(self.first, error.message.removeprefix("setting."), error.cure)
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
                self._fault(self.first, f"{name} is {shown}, but {trial.id} stands at {was}.",
                            "Leave the trial cell empty to enter a run at another setting.")

    def _corrected(self) -> bool:
        text = self._agreed("corrected").casefold()
        if text not in CORRECTED:
            self._fault(self._row_of("corrected", self._agreed("corrected")),
                        f"{text[:20]!r} in the column corrected is not known.",
                        "Write yes, no, or leave it empty.")
        return CORRECTED.get(text, False)

    def _recoveries(self, day: str, corrected: bool) -> dict[str, Any]:
        vessels = self._vessels()
        if self.faults:
            return {}
        found: dict[str, Any] = {}
        for analyte in self.job.analytes:
            percent = self._typed(analyte.name, vessels)
            try:
                amounts = self._amounts(analyte, vessels, day, corrected)
                if amounts is not None:
                    must_not_stand_twice(analyte.name, percent)
                    made = work_out(amounts, self.job.equipment.vessels)
                    percent = list(made.readings)
                    self.blank_percent[analyte.name] = made.blank_percent
                    self.worked_out.append(made.remark)
                    self.warnings += made.warnings
            except EntryError as error:
                self._fault(self.first, error.message, error.cure)
            if percent is not None:
                found[analyte.name] = percent
        return found

    def _typed(self, analyte: str, vessels: Sequence[int | None]) -> Any:
        """Recoveries as typed: one number for the trial, or a list in vessel order."""
        column = RECOVERY_PREFIX + analyte
        readings: dict[int | None, Any] = {}
        for row, place in zip(self.samples, vessels, strict=True):
            reading = self._reading(row, column, analyte)
            if reading is None:
                continue
            if row_control(row):
                self.of_blanks.append("the row" if place is None else f"vessel {place}")
            else:
                readings[place] = reading
        if None in readings:
            return readings[None]
        if not readings:
            return None
        return [readings.get(i) for i in range(1, self.job.equipment.vessels + 1)]

    def _amounts(
        self, analyte: Analyte, vessels: Sequence[int | None], day: str, corrected: bool
    ) -> Amounts | None:
        """What was found of an analyte; None where no amount is given.

        A blank keeps its vessel number where it took the place of a sample.
        """
        found: dict[int, Amount] = {}
        for row, place in zip(self.samples, vessels, strict=True):
            amount = self._amount(row, analyte.name)
            if amount is None or row_control(row):
                continue
            if place is None:
                raise EntryError(f"Amounts of {analyte.name} name no vessel.",
                                 "Number the vessels, or type the mean recovery instead.")
            found[place] = amount
        if not found:
            return None
        rows = [r for r in self.group.rows if row_control(r) == "reference"] or [
            r for r in self.references
            if written_day_key(r.text("day")) in ("", written_day_key(day))]
        references = [self._amount(r, analyte.name) for r in rows]
        if any(isinstance(a, str) for a in references):
            raise EntryError(f"A reference of {analyte.name} lies below a limit.",
                             "Measure it again, or leave that reference out.")
        blanks = [a for r in self.group.rows if row_control(r) == "blank"
                  and (a := self._amount(r, analyte.name)) is not None]
        if len(blanks) > 1:
            raise EntryError(f"Two blanks give an amount of {analyte.name}.",
                             "Keep the one of this run.")
        spiked = self._agreed_number(SPIKED_PREFIX + analyte.name, "amount spiked")
        return Amounts(
            analyte, found, [a for a in references if isinstance(a, float)],
            next((a for a in blanks if isinstance(a, float)), 0.0),
            analyte.spike_ug if spiked is None else spiked, corrected,
        )

    def _amount(self, row: TableRow, analyte: str) -> Amount:
        cell = row.cells.get(FOUND_PREFIX + analyte, "")
        try:
            if isinstance(cell, float):
                return read_amount(f"{cell:.12g}", float)
            return read_amount(row.text(FOUND_PREFIX + analyte),
                               lambda text: read_number(text, self.sign))
        except EntryError as error:
            self._fault(row.number, f"The amount of {analyte}: {error.message}", error.cure)
            return None

    def _vessels(self) -> list[int | None]:
        """The vessel of each sample; None where a row speaks of the whole trial."""
        rows, count = self.samples, self.job.equipment.vessels
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
        parts = [*self.worked_out, *(r.text("remark") for r in self.group.rows)]
        names: Sequence[str] = list(self.group.rows[0].cells)
        for name in names:
            if name in columns or name in PLAIN_COLUMNS:
                continue
            values = dict.fromkeys(t for r in self.group.rows if (t := r.text(name)))
            if values:
                parts.append(f"{name}: {', '.join(values)}")
            self.warnings += dict.fromkeys(
                f"What stands in the column {name!r} is not kept, because it {cell.reason}"
                for r in self.group.rows if isinstance(cell := r.cells[name], Unusable))
        return "; ".join(dict.fromkeys(p for p in parts if p))
