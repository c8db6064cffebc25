"""The table that results are typed into: its columns, its empty rows, its text as CSV.

Every cell is text, so that "12,5", "<5" or a slip of the keyboard stays what was typed; the
one parser of bench tables reads it (:mod:`experiments.results_table`).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Literal

from experiments.bench_sheet import REFERENCES_PER_DAY, BenchSheet
from experiments.job import EvaporationJob
from experiments.table_amounts import FOUND_PREFIX
from experiments.table_rows import RECOVERY_PREFIX
from experiments.trials import OUTCOMES, Trial
from experiments.wording import listed
from wizard.typing_table import Heads

Rows = Literal["vessel", "trial", "amounts"]
"""What a row of the table is: a vessel or a trial with recoveries, or a vessel with amounts."""


def results_columns(job: EvaporationJob, kind: Rows) -> list[str]:
    """The columns of the table, in the names of the trial table."""
    vessel = [] if kind == "trial" else ["vessel"]
    prefix = FOUND_PREFIX if kind == "amounts" else RECOVERY_PREFIX
    return ["trial", *vessel, "run_time_min", "outcome",
            *(prefix + a.name for a in job.analytes), "remark"]


def results_rows(
    job: EvaporationJob, trials: Sequence[Trial], kind: Rows
) -> list[list[str]]:
    """Empty rows to be filled in; with amounts also those of the blank and the references."""
    width = len(results_columns(job, kind))
    vessels = [str(n + 1) for n in range(job.equipment.vessels)]
    if kind == "amounts":
        vessels += ["blank", *(f"reference {n + 1}" for n in range(REFERENCES_PER_DAY))]
    heads = [[trial.id, vessel] for trial in trials for vessel in vessels]
    if kind == "trial":
        heads = [[trial.id] for trial in trials]
    return [[*head, *[""] * (width - len(head))] for head in heads]


def as_csv(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table of text as CSV with semicolons, so that decimal commas keep their meaning."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=";", lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return buffer.getvalue()


def blank_hint(sheet: BenchSheet) -> str:
    """Where the bench sheet has its blanks, and how their rows are told; empty without any."""
    places = [f"vessel {run.blank_vessel} of {run.trial}"
              for run in sorted(sheet.runs, key=lambda run: run.trial) if run.blank_vessel]
    if not places:
        return ""
    return (f"The bench sheet of these trials has its blank in {listed(places)}; the remark "
            "“blank” leaves such a row out.")


def merged(
    seen: Sequence[Sequence[str]], typed: Sequence[Sequence[str]], stored: Sequence[Sequence[str]],
) -> list[list[str]]:
    """A table after two tabs wrote to it: cells typed here since last seen, the others as stored.

    A cell that both changed is as it was typed here.
    """
    return [
        [now if now != before else kept for before, now, kept in zip(*cells, strict=True)]
        for cells in zip(seen, typed, stored, strict=True)
    ]


def row_names(text: str) -> list[str]:
    """What each row of such a CSV is about: a trial, or one of its vessels."""
    header, *rows = csv.reader(io.StringIO(text), delimiter=";")
    if "vessel" not in header:
        return [row[0] for row in rows]
    return [f"{trial}, {f'vessel {place}' if place.isdigit() else place}"
            for trial, place, *_ in rows]


def results_heads(job: EvaporationJob, kind: Rows) -> Heads:
    """How the columns of the table are headed and filled in."""
    columns = results_columns(job, kind)
    texts = [_head(column) for column in columns]
    numeric = [i for i, c in enumerate(columns)
               if c == "run_time_min" or c.startswith((RECOVERY_PREFIX, FOUND_PREFIX))]
    helps = {i: "Percent of the spike; <5 for below 5." for i, c in enumerate(columns)
             if c.startswith(RECOVERY_PREFIX)}
    helps |= {i: "Found at final volume; <0.2 for below 0.2." for i, c in enumerate(columns)
              if c.startswith(FOUND_PREFIX)}
    outcome = columns.index("outcome")
    return Heads(texts, 1 if kind == "trial" else 2, {outcome: OUTCOMES}, frozenset(numeric),
                 {**helps, outcome: "Empty counts as finished."})


def _head(column: str) -> str:
    if column == "run_time_min":
        return "run time, min"
    if column.startswith(RECOVERY_PREFIX):
        return f"{column.removeprefix(RECOVERY_PREFIX)}, %"
    if column.startswith(FOUND_PREFIX):
        return f"{column.removeprefix(FOUND_PREFIX)}, µg"
    return column
