"""Typed frames for the grid of results, and what its columns look like.

Every cell is text, so that "12,5", "<5" or a slip of the keyboard stays what was typed; the
one parser of bench tables reads it (:mod:`experiments.results_table`).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any, Literal

import pandas as pd
import streamlit as st

from experiments.bench_sheet import REFERENCES_PER_DAY
from experiments.job import EvaporationJob
from experiments.table_amounts import FOUND_PREFIX
from experiments.table_rows import RECOVERY_PREFIX
from experiments.trials import OUTCOMES, Trial

Rows = Literal["vessel", "trial", "amounts"]
"""What a row of the grid is: a vessel or a trial with recoveries, or a vessel with amounts."""


def results_columns(job: EvaporationJob, kind: Rows) -> list[str]:
    """The columns of the grid, in the names of the trial table."""
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


def frame(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> pd.DataFrame:
    """Rows as a frame of text."""
    table = pd.DataFrame([list(r) for r in rows], columns=list(columns), dtype="string")
    return table.fillna("")


def as_csv(table: pd.DataFrame) -> str:
    """A frame of text as CSV with semicolons, so that decimal commas keep their meaning."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=";", lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows(as_rows(table))
    return buffer.getvalue()


def as_rows(table: pd.DataFrame) -> list[list[str]]:
    """A frame of text as lists of text."""
    return [["" if pd.isna(v) else str(v) for v in row] for row in table.itertuples(index=False)]


def results_config(job: EvaporationJob, kind: Rows) -> dict[str, Any]:
    """How the columns of the grid are headed and filled in."""
    config: dict[str, Any] = {
        "trial": st.column_config.TextColumn("trial", width="small", pinned=True),
        "run_time_min": st.column_config.TextColumn("run time, min"),
        "outcome": st.column_config.SelectboxColumn(
            "outcome", options=list(OUTCOMES),
            help="Empty counts as finished."),
        "remark": st.column_config.TextColumn("remark", width="medium"),
    }
    if kind != "trial":
        config["vessel"] = st.column_config.TextColumn("vessel", width="small", pinned=True)
    for analyte in job.analytes:
        config[RECOVERY_PREFIX + analyte.name] = st.column_config.TextColumn(
            f"{analyte.name}, %", help="Percent of the spike; <5 for below 5.")
        config[FOUND_PREFIX + analyte.name] = st.column_config.TextColumn(
            f"{analyte.name}, µg", help="Found at final volume; <0.2 for below 0.2.")
    return config
