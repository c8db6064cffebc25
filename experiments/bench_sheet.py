"""The bench sheet: the trials to run, in the columns in which the filled table comes back."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl

from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.sheet_cells import safe_cell


def sheet_rows(dossier: Dossier, trial_ids: Sequence[str]) -> list[list[Any]]:
    """Header and one row a vessel, in a randomised run order that the job's seed repeats."""
    job = dossier.job
    trials = [dossier.trial(i) for i in trial_ids]
    if not trials:
        raise EntryError("There is no pending trial to print.", "Propose trials first.")
    order = np.random.default_rng([job.seed, 67, len(dossier.trials)]).permutation(len(trials))
    names = [f.name for f in job.factors]
    recoveries = [f"recovery_percent:{a.name}" for a in job.analytes]
    rows: list[list[Any]] = [
        ["trial", "run_order", *names, "vessel", "run_time_min", "outcome", *recoveries, "remark"]
    ]
    for run, index in enumerate(order, start=1):
        trial = trials[int(index)]
        for vessel in range(1, job.equipment.vessels + 1):
            rows.append([trial.id, run, *(trial.setting[n] for n in names), vessel, "", "",
                         *("" for _ in recoveries), ""])
    return [[safe_cell(c) for c in row] for row in rows]


def sheet_csv(dossier: Dossier, trial_ids: Sequence[str]) -> bytes:
    """The sheet as CSV in UTF-8."""
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(sheet_rows(dossier, trial_ids))
    return buffer.getvalue().encode()


def sheet_xlsx(dossier: Dossier, trial_ids: Sequence[str]) -> bytes:
    """The sheet as a workbook."""
    book = openpyxl.Workbook()
    sheet = book.active
    if sheet is None:
        raise EntryError("The workbook has no sheet.", "Write the sheet as CSV.")
    for row in sheet_rows(dossier, trial_ids):
        sheet.append(row)
    sheet.freeze_panes = "A2"
    for column in sheet.columns:
        widest = max(len(str(c.value)) for c in column)
        sheet.column_dimensions[column[0].column_letter].width = min(max(widest + 2, 9), 34)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def write_sheet(dossier: Dossier, trial_ids: Sequence[str], path: Path) -> None:
    """Write the sheet; the ending of ``path`` chooses CSV or XLSX."""
    writers = {".csv": sheet_csv, ".xlsx": sheet_xlsx}
    if path.suffix.lower() not in writers:
        raise EntryError(f"A bench sheet cannot be written as {path.suffix or 'that'!r}.",
                         f"Use one of: {', '.join(writers)}.")
    path.write_bytes(writers[path.suffix.lower()](dossier, trial_ids))
