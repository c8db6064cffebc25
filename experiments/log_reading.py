"""From the confirmed columns of a log to numbers in contract units, with every gap said.

Time is in min from the first row, pressures absolute in mbar, temperatures in degC; a missing
reading is nan. Nothing is dropped, clamped or filled in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from experiments.entries import EntryError
from experiments.log_columns import MINUTES, NAMES, Choices, ColumnChoice, checked
from experiments.log_file import MISSING, LogTable
from experiments.log_moments import DAY_MIN, STAMPS, minutes_of
from experiments.table_numbers import Sign, decimal_sign, read_number
from experiments.wording import counted
from models.quantities import MINUTE, PA_PER_MBAR, PA_PER_UNIT, TEMPERATURE_OFFSET, ZERO_CELSIUS
from models.run_log import RunLog
from models.system import Array

FEWEST = 10
GAP = 5.0
"""Times the usual interval between readings; a longer one is a gap."""
SHOWN_GAPS = 4
LONGEST_MIN = 14 * DAY_MIN
PRESSURES_MBAR = (-20.0, 2000.0)
TEMPERATURES_C = (-200.0, 400.0)
"""What can be; values beyond tell of a wrong unit."""


@dataclass(frozen=True, eq=False)
class InstrumentLog:
    """A log in contract units, [M] each; columns that were not logged are not there.

    ``columns`` holds ``time`` (min from the first row), ``pressure`` (mbar, absolute) and
    whatever else was logged (degC); ``choices`` say where in the file they stand.
    """

    columns: Mapping[str, Array]
    choices: Choices
    notes: tuple[str, ...]

    def run_log(self, lid_closed_min: float = 0.0) -> RunLog:
        """In SI, the time counted from lid-close."""
        def warm(name: str) -> Array | None:
            return self.columns[name] + ZERO_CELSIUS if name in self.columns else None

        return RunLog(
            MINUTE * (self.columns["time"] - lid_closed_min),
            self.columns["pressure"] * PA_PER_MBAR,
            warm("wall_temperature"), warm("coolant_in"), warm("coolant_out"),
        )


def read_log(table: LogTable, choices: Mapping[str, Any]) -> InstrumentLog:
    """The readings of a log.

    Raises
    ------
    EntryError
        naming the first line that cannot be read, or what cannot be
    """
    chosen = checked(choices, table.headers)
    if len(table.lines) < FEWEST:
        raise EntryError(f"The log has only {len(table.lines)} readings.",
                         f"Give at least {FEWEST}.")
    sign = decimal_sign(
        cell for q, c in chosen.items() if q != "time" or c.unit in MINUTES
        for cell in table.columns[c.column] if cell.casefold() not in MISSING
    )
    time = _times(table, chosen["time"], sign)
    columns: dict[str, Array] = {"time": time}
    notes = [*table.notes, *_time_notes(time)]
    for quantity, choice in chosen.items():
        if quantity == "time":
            continue
        values = _numbers(table, choice, sign)
        columns[quantity] = values = _in_contract_unit(quantity, choice, values, table)
        missing = int(np.isnan(values).sum())
        if missing == len(values):
            raise EntryError(f"The column {choice.column[:60]!r} ({NAMES[quantity]}) is empty.",
                             "Name another column, or leave this quantity out.")
        if missing:
            notes.append(f"{missing} of {len(values)} readings of the {NAMES[quantity]} are "
                         "missing.")
    return InstrumentLog(columns, chosen, tuple(notes))


# -- numbers ---------------------------------------------------------------------------


def _numbers(table: LogTable, choice: ColumnChoice, sign: Sign) -> Array:
    values = np.full(len(table.lines), math.nan)
    for i, cell in enumerate(table.columns[choice.column]):
        if cell.casefold() in MISSING:
            continue
        try:
            values[i] = read_number(cell, sign)
        except EntryError as error:
            raise EntryError(f"Line {table.lines[i]}, column {choice.column[:60]!r}: "
                             f"{error.message}", error.cure) from None
    return values


def _in_contract_unit(
    quantity: str, choice: ColumnChoice, values: Array, table: LogTable
) -> Array:
    if quantity == "pressure":
        values, (low, high), unit = (
            values * (PA_PER_UNIT[choice.unit] / PA_PER_MBAR), PRESSURES_MBAR, "mbar")
    else:
        values, (low, high), unit = (
            values - TEMPERATURE_OFFSET[choice.unit], TEMPERATURES_C, "degC")
    wrong = np.flatnonzero((values < low) | (values > high))
    if len(wrong):
        first = int(wrong[0])
        cure = ("Give absolute pressures, and check the unit." if quantity == "pressure"
                else "Check the unit, or correct the reading.")
        raise EntryError(
            f"Line {table.lines[first]}: a {NAMES[quantity]} of {values[first]:.4g} {unit} cannot "
            "be.", cure)
    return values


# -- time ------------------------------------------------------------------------------


def _times(table: LogTable, choice: ColumnChoice, sign: Sign) -> Array:
    """Minutes [M] from the first row."""
    cells = table.columns[choice.column]
    if choice.unit in STAMPS:
        time = np.array([_moment(cell, choice.unit, line)
                         for cell, line in zip(cells, table.lines, strict=True)])
        if choice.unit == "clock":
            time = time + DAY_MIN * np.cumsum(np.diff(time, prepend=time[0]) < -DAY_MIN / 2)
    else:
        time = _numbers(table, choice, sign) * MINUTES[choice.unit]
        lost = np.flatnonzero(np.isnan(time))
        if len(lost):
            raise EntryError(f"Line {table.lines[int(lost[0])]} of the log has no time.",
                             "Delete the lines that are no readings, or give their time.")
    back = np.flatnonzero(np.diff(time) < 0.0)
    if len(back):
        raise EntryError(f"The time goes back at line {table.lines[int(back[0]) + 1]} of the log.",
                         "Give the readings of one run in their order.")
    if time[-1] - time[0] > LONGEST_MIN:
        raise EntryError(f"The log is {(time[-1] - time[0]) / DAY_MIN:.0f} days long.",
                         "Check the unit of the time.")
    if time[-1] == time[0]:
        raise EntryError("All readings of the log have the same time.",
                         "Check which column holds the time.")
    return np.asarray(time - time[0])


def _moment(cell: str, way: str, line: int) -> float:
    minutes = minutes_of(cell, way)
    if minutes is None:
        raise EntryError(f"Line {line}: {cell[:40]!r} is no time written as {way}.",
                         "Choose how the time is written, or delete what is no reading.")
    return minutes


def _time_notes(time: Array) -> list[str]:
    steps = np.diff(time)
    usual = float(np.median(steps[steps > 0.0]))
    notes = [f"{len(time)} readings over {time[-1]:.1f} min, usually every {60 * usual:.3g} s."]
    again = int((steps == 0.0).sum())
    if again:
        notes.append(f"{counted(again, 'reading')} with the time of the one before.")
    gaps = np.flatnonzero(steps > GAP * usual)
    if len(gaps):
        shown = ", ".join(f"{time[i]:.1f} to {time[i + 1]:.1f}" for i in gaps[:SHOWN_GAPS])
        more = f" and {len(gaps) - SHOWN_GAPS} more" if len(gaps) > SHOWN_GAPS else ""
        notes.append(f"No reading from {shown} min{more}.")
    return notes
