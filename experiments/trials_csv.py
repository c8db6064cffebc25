"""All trials of a dossier as CSV in the columns of the trial table, for people."""

from __future__ import annotations

import csv
import io
from typing import Any

from experiments.dossier import Dossier
from experiments.job import EvaporationJob
from experiments.sheet_cells import safe_cell
from experiments.trials import Result, Trial


def trials_csv(dossier: Dossier) -> str:
    """One row a vessel, or one row a trial where only means were measured.

    ``run_order`` counts the trials in order of creation here, as in every export of this schema:
    the order drawn for a bench sheet is not in the record. User text never becomes a live
    formula in a spreadsheet.
    """
    job = dossier.job
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    columns = ("trial", "run_order", *(f.name for f in job.factors), "vessel", "run_time_min",
               "outcome", *(f"recovery_percent:{a.name}" for a in job.analytes), "day", "state",
               "origin", "remark")
    writer.writerow([safe_cell(c) for c in columns])
    for order, trial in enumerate(dossier.trials, start=1):
        for row in _rows(job, trial, order):
            writer.writerow([safe_cell(c) for c in row])
    return buffer.getvalue()


def _rows(job: EvaporationJob, trial: Trial, order: int) -> list[list[Any]]:
    head = [trial.id, order, *(trial.setting.get(f.name, "") for f in job.factors)]
    tail = [trial.state, trial.origin]
    result = trial.result
    if result is None:
        return [[*head, "", "", "", *("" for _ in job.analytes), "", *tail, ""]]
    time = "" if result.run_time_min is None else result.run_time_min
    return [
        [*head, vessel, time, result.outcome, *cells, result.day, *tail, result.remark]
        for vessel, cells in _readings(job, result)
    ]


def _readings(job: EvaporationJob, result: Result) -> list[tuple[int | str, list[str]]]:
    """Readings by vessel, and in a row without vessel those that are means."""
    names = [a.name for a in job.analytes]
    means = [
        _shown(result, n, 0) if result.is_mean.get(n) else "" for n in names
    ]
    count = max((len(v) for n, v in result.recovery.items() if not result.is_mean[n]), default=0)
    by_vessel: list[tuple[int | str, list[str]]] = [
        (i + 1, ["" if result.is_mean.get(n) else _shown(result, n, i) for n in names])
        for i in range(count)
    ]
    return by_vessel if by_vessel and not any(means) else [*by_vessel, ("", means)]


def _shown(result: Result, name: str, index: int) -> str:
    readings = result.recovery.get(name, ())
    reading = readings[index] if index < len(readings) else None
    return "" if reading is None else str(reading)
