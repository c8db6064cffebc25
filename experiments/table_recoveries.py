"""Recoveries of one trial in a bench table: as typed, or worked out from amounts found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.entries import EntryError, read_recovery, written_day_key
from experiments.job import Analyte, EvaporationJob
from experiments.table_amounts import (
    CONTROL,
    FOUND_PREFIX,
    SPIKED_PREFIX,
    Amount,
    Amounts,
    must_not_stand_twice,
    read_amount,
    work_out,
)
from experiments.table_group import GroupReader
from experiments.table_numbers import read_number
from experiments.table_rows import RECOVERY_PREFIX, TableRow, row_control


@dataclass
class ReadRecoveries:
    """Recoveries in percent by analyte: one number for the trial, or a list in vessel order.

    ``blank_percent`` is what the blank held of the spike, ``worked_out`` and ``warnings`` what
    is to be said of amounts, ``of_blanks`` the blanks whose recoveries are left out.
    """

    percent: dict[str, Any] = field(default_factory=dict)
    blank_percent: dict[str, float] = field(default_factory=dict)
    worked_out: list[str] = field(default_factory=list)
    of_blanks: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def read_recoveries(
    reader: GroupReader, job: EvaporationJob, references: Sequence[TableRow], day: str,
    corrected: bool,
) -> ReadRecoveries:
    """What the rows say of every analyte; faults go to the reader, and nothing is read after one.

    ``references`` are rows of unevaporated spikes that belong to no single trial.
    """
    reading = _Reading(reader, job, references, day, corrected)
    if not reader.faults:
        for analyte in job.analytes:
            reading.take(analyte)
    return reading.found


class _Reading:
    """Reads the samples of one group, analyte by analyte."""

    def __init__(
        self, reader: GroupReader, job: EvaporationJob, references: Sequence[TableRow],
        day: str, corrected: bool,
    ) -> None:
        self.reader, self.count = reader, job.equipment.vessels
        self.references, self.day, self.corrected = references, day, corrected
        self.samples = [r for r in reader.rows
                        if not CONTROL.fullmatch(r.text("vessel").casefold())]
        self.vessels = self._vessels()
        self.found = ReadRecoveries()

    def take(self, analyte: Analyte) -> None:
        """Add what was read of one analyte."""
        percent, found = self._typed(analyte.name), self.found
        try:
            amounts = self._amounts(analyte)
            if amounts is not None:
                must_not_stand_twice(analyte.name, percent)
                made = work_out(amounts, self.count)
                percent = list(made.readings)
                found.blank_percent[analyte.name] = made.blank_percent
                found.worked_out.append(made.remark)
                found.warnings += made.warnings
        except EntryError as error:
            self.reader.fault(self.reader.first, error.message, error.cure)
        if percent is not None:
            found.percent[analyte.name] = percent

    def _vessels(self) -> list[int | None]:
        """The vessel of each sample; None where a row speaks of the whole trial."""
        places: list[int | None] = []
        for row in self.samples:
            number = self.reader.number(row, "vessel", "vessel")
            if number is not None and (number != int(number) or not 1 <= number <= self.count):
                self.reader.fault(row.number, f"Vessel {row.text('vessel')[:20]} does not exist.",
                                  f"Use 1 to {self.count}.")
            place = None if number is None else int(number)
            if place in places:
                words = ("This trial stands twice without vessel numbers" if place is None
                         else f"Vessel {place} stands twice in this trial")
                self.reader.fault(row.number, f"{words}.", "Keep one row, or number the vessels.")
            elif places and (place is None or places[0] is None):
                self.reader.fault(
                    row.number, "Some rows of this trial give a vessel, others none.",
                    "Give the vessel on every row of it.")
            places.append(place)
        return places

    def _typed(self, analyte: str) -> Any:
        """Recoveries as typed: one number for the trial, or a list in vessel order."""
        column = RECOVERY_PREFIX + analyte
        readings: dict[int | None, Any] = {}
        for row, place in zip(self.samples, self.vessels, strict=True):
            reading = self._recovery(row, column, analyte)
            if reading is None:
                continue
            if row_control(row):
                self.found.of_blanks.append("the row" if place is None else f"vessel {place}")
            else:
                readings[place] = reading
        if None in readings:
            return readings[None]
        if not readings:
            return None
        return [readings.get(i) for i in range(1, self.count + 1)]

    def _recovery(self, row: TableRow, column: str, analyte: str) -> float | str | None:
        cell = row.cells.get(column, "")
        text = row.text(column)
        if text.endswith("%"):
            text = text[:-1].rstrip()
        if not text:
            return None
        censored = text.startswith("<")
        body = text[1:].strip() if censored else text
        try:
            number = cell if isinstance(cell, float) else read_number(body, self.reader.sign)
            read_recovery(analyte, number)
            reading = f"<{number:.12g}" if censored else number
            read_recovery(analyte, reading)
            return reading
        except EntryError as error:
            message = error.message if analyte in error.message else (
                f"The recovery of {analyte}: {error.message}")
            self.reader.fault(row.number, message, error.cure)
            return None

    def _amounts(self, analyte: Analyte) -> Amounts | None:
        """What was found of an analyte; None where no amount is given.

        A blank keeps its vessel number where it took the place of a sample.
        """
        found: dict[int, Amount] = {}
        for row, place in zip(self.samples, self.vessels, strict=True):
            amount = self._amount(row, analyte.name)
            if amount is None or row_control(row):
                continue
            if place is None:
                raise EntryError(f"Amounts of {analyte.name} name no vessel.",
                                 "Number the vessels, or type the mean recovery instead.")
            found[place] = amount
        if not found:
            return None
        rows = [r for r in self.reader.rows if row_control(r) == "reference"] or [
            r for r in self.references
            if written_day_key(r.text("day")) in ("", written_day_key(self.day))]
        references = [self._amount(r, analyte.name) for r in rows]
        if any(isinstance(a, str) for a in references):
            raise EntryError(f"A reference of {analyte.name} lies below a limit.",
                             "Measure it again, or leave that reference out.")
        blanks = [a for r in self.reader.rows if row_control(r) == "blank"
                  and (a := self._amount(r, analyte.name)) is not None]
        if len(blanks) > 1:
            raise EntryError(f"Two blanks give an amount of {analyte.name}.",
                             "Keep the one of this run.")
        spiked = self.reader.agreed_number(SPIKED_PREFIX + analyte.name, "amount spiked")
        return Amounts(
            analyte, found, [a for a in references if isinstance(a, float)],
            next((a for a in blanks if isinstance(a, float)), 0.0),
            analyte.spike_ug if spiked is None else spiked, self.corrected,
        )

    def _amount(self, row: TableRow, analyte: str) -> Amount:
        cell = row.cells.get(FOUND_PREFIX + analyte, "")
        try:
            if isinstance(cell, float):
                return read_amount(f"{cell:.12g}", float)
            return read_amount(row.text(FOUND_PREFIX + analyte),
                               lambda text: read_number(text, self.reader.sign))
        except EntryError as error:
            self.reader.fault(row.number, f"The amount of {analyte}: {error.message}", error.cure)
            return None
