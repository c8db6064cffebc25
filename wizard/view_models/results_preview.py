"""What a bench table would record, row by row, before anything is recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from experiments.job import EvaporationJob
from experiments.results_table import ReadTable, UnderstoodTrial
from experiments.trials import Trial
from experiments.wording import counted
from wizard.units import Units
from wizard.view_models.settings_text import setting_text


@dataclass(frozen=True)
class Preview:
    """Lines for what was understood and for what was not."""

    understood: tuple[dict[str, str], ...]
    rejected: tuple[str, ...]
    notes: tuple[str, ...]
    may_record: bool
    summary: str


def preview(
    table: ReadTable, job: EvaporationJob, trials: Sequence[Trial], units: Units,
    rows: Sequence[str] = (),
) -> Preview:
    """The table as the reader should check it.

    ``rows`` are the names of the rows below the header, where the reader sees no numbers.
    """
    known = {t.id: t for t in trials}
    understood = tuple(_line(t, job, known, units) for t in table.trials)
    rejected = tuple(f"{_row_name(r.row, rows)}: {r.reason} {r.cure}" for r in table.rejected)
    return Preview(understood, rejected, table.notes, table.is_clean, _summary(table))


def _row_name(number: int, rows: Sequence[str]) -> str:
    """What a row is called; number 0 is the table as a whole, 1 its header."""
    if 2 <= number < len(rows) + 2:
        return rows[number - 2]
    return f"Row {number}" if number else "The table"


def _summary(table: ReadTable) -> str:
    runs, bad = len(table.trials), len(table.rejected)
    if table.is_clean:
        return f"{counted(runs, 'run')} understood, nothing rejected."
    if not runs:
        return f"Nothing can be recorded: {counted(bad, 'fault')}."
    return (
        f"{counted(runs, 'run')} understood, {counted(bad, 'row')} "
        "rejected. A table is recorded whole or not at all: correct the rows named here."
    )


def _line(
    found: UnderstoodTrial, job: EvaporationJob, known: Mapping[str, Trial], units: Units
) -> dict[str, str]:
    trial = known.get(found.trial) if found.trial else None
    setting = trial.setting if trial else (found.setting or {})
    line = {
        "trial": found.trial or "new",
        "setting": setting_text(setting, units, job),
        "run time": "–" if found.run_time_min is None else f"{found.run_time_min:g} min",
        "outcome": found.outcome,
    }
    if found.corrected:
        line["label"] = "recoveries corrected by a standard, kept out of the fit"
    for analyte in job.analytes:
        line[analyte.name] = _readings(found.recovery_percent.get(analyte.name), units)
    if found.day:
        line["day"] = found.day
    if found.remark:
        line["remark"] = found.remark
    return line


def _readings(value: Any, units: Units) -> str:
    if value is None:
        return "–"
    if not isinstance(value, list):
        return units.sign(f"{value if isinstance(value, str) else f'{value:g}'} %")
    read = [v for v in value if v is not None]
    if not read:
        return "–"
    numbers = [v for v in read if not isinstance(v, str)]
    below = len(read) - len(numbers)
    text = ""
    if numbers:
        mean = sum(numbers) / len(numbers)
        text = units.sign(f"{mean:.1f} % in {counted(len(numbers), 'vessel')}")
    if below:
        text += f"{', ' if text else ''}{below} below the limit"
    return text
