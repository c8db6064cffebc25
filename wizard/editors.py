"""Typed frames for the grid of results, and what its columns look like.

Every cell is text, so that "12,5", "<5" or a slip of the keyboard stays what was typed; the
one parser of bench tables reads it (:mod:`experiments.results_table`).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

import pandas as pd
import streamlit as st

from experiments.job import EvaporationJob
from experiments.trials import OUTCOMES, Trial

RECOVERY = "recovery_percent:"


def results_columns(job: EvaporationJob, by_vessel: bool) -> list[str]:
    """The columns of the grid, in the names of the trial table."""
    vessel = ["vessel"] if by_vessel else []
    return ["trial", *vessel, "run_time_min", "outcome",
            *(RECOVERY + a.name for a in job.analytes), "remark"]


def results_rows(
    job: EvaporationJob, trials: Sequence[Trial], by_vessel: bool
) -> list[list[str]]:
    """Empty rows for trials to be filled in: one a vessel, or one a trial."""
    width = len(results_columns(job, by_vessel))
    rows = []
    for trial in trials:
        vessels = range(1, job.equipment.vessels + 1) if by_vessel else (0,)
        for vessel in vessels:
            head = [trial.id, str(vessel)] if by_vessel else [trial.id]
            rows.append([*head, *[""] * (width - len(head))])
    return rows


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


def results_config(job: EvaporationJob, by_vessel: bool) -> dict[str, Any]:
    """How the columns of the grid are headed and filled in."""
    config: dict[str, Any] = {
        "trial": st.column_config.TextColumn("trial", width="small", pinned=True),
        "run_time_min": st.column_config.TextColumn("run time, min"),
        "outcome": st.column_config.SelectboxColumn(
            "outcome", options=list(OUTCOMES),
            help="Empty counts as finished."),
        "remark": st.column_config.TextColumn("remark", width="medium"),
    }
    if by_vessel:
        config["vessel"] = st.column_config.TextColumn("vessel", width="small", pinned=True)
    for analyte in job.analytes:
        config[RECOVERY + analyte.name] = st.column_config.TextColumn(
            f"{analyte.name}, %", help="Percent of the spike; <5 for below 5.")
    return config
