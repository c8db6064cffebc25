"""Section on the logs of the instruments: what they show of each run, beside what was noted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from experiments.attached_log import MARKED, log_of
from experiments.dossier import Dossier
from experiments.report.digits import NONE, value
from experiments.report.document import Block, Cell, Column, Figure, Paragraph, Section, Table
from experiments.report.gathered import Gathered
from experiments.report.log_chart import (
    ABREAST,
    DrawnLog,
    Moment,
    lines_of,
    logs_chart,
    span_of,
)
from experiments.report.records import record_by_trial
from experiments.wording import counted, is_or_are, listed

AT_MOST = 4 * ABREAST
"""Runs drawn; more are told in the table and are in the record."""


def logs(g: Gathered) -> Section | None:
    """The logs that count, as lines over time and as moments; None when none is attached."""
    found = drawn_logs(g.dossier)
    if not found:
        return None
    blocks: list[Block] = [Paragraph(
        "The moments are found in the readings by rules (where the condenser begins to take up "
        "heat, where its load is back at its share of the peak at end pressure, where the chamber "
        "is vented), each with the range in which it lies. They enter the fit with the scatter of "
        "runs; every reading is in the record that goes with this report.")]
    shown = found[:AT_MOST]
    span = span_of(shown)
    for start in range(0, len(shown), ABREAST):
        part = shown[start : start + ABREAST]
        blocks.append(Figure(
            f"Readings of the instruments in {listed([d.trial for d in part])}; upright lines "
            "are the moments found, grey bands the ranges in which they lie",
            logs_chart(part, span), " ".join(log_words(d) for d in part)))
    if len(found) > len(shown):
        rest = found[AT_MOST:]
        blocks.append(Paragraph(
            f"{counted(len(rest), 'more log')} {is_or_are(len(rest))} not drawn: "
            f"{listed([d.trial for d in rest], len(rest))}."))
    return Section("logs", "Logs of the runs", (*blocks, _table(g.dossier, found)))


def drawn_logs(dossier: Dossier) -> list[DrawnLog]:
    """The logs that count, in the order of the trials."""
    held = dossier.details.traces
    return [DrawnLog(t.id, log_of(held[t.id]), held[t.id]["lid_closed_min"],
                     _moments(held[t.id]["moments"]))
            for t in dossier.trials if t.id in held]


def log_words(drawn: DrawnLog) -> str:
    """What the lines of a log show, for who cannot see them."""
    parts = []
    for panel, lines in lines_of(drawn.log).items():
        name, _, unit = panel.partition(", ")
        for line, values in lines.items():
            parts.append(f"{' '.join(filter(None, (name, line)))} {value(np.nanmin(values))} to "
                         f"{value(np.nanmax(values))} {unit}")
    told = [f"{m.name} at {value(m.at)} min" for m in drawn.moments] or ["no moment found"]
    span = f"{value(drawn.time[0])} to {value(drawn.time[-1])} min from lid-close"
    return f"{drawn.trial}, {span}: {', '.join(parts)}; {', '.join(told)}."


def _moments(held: Mapping[str, Mapping[str, Any]]) -> tuple[Moment, ...]:
    return tuple(Moment(words, held[name]["min"], held[name]["low"], held[name]["high"])
                 for name, words in MARKED.items() if held[name]["min"] is not None)


def _table(dossier: Dossier, found: Sequence[DrawnLog]) -> Table:
    records = record_by_trial(dossier, "trace attached")
    rows = []
    for drawn in found:
        result = dossier.trial(drawn.trial).result
        held = dossier.details.traces[drawn.trial]
        at = {m.name: f"{value(m.at)} ({value(m.low)} to {value(m.high)})" for m in drawn.moments}
        rows.append((
            Cell(drawn.trial, records[drawn.trial]), Cell(str(held["file"])),
            Cell(str(held["readings"])), *(Cell(at.get(name, NONE)) for name in MARKED.values()),
            Cell(NONE if result is None else value(result.run_time_min)),
        ))
    return Table(
        "Moments found in the logs, min from lid-close, with their ranges",
        (Column("trial"), Column("file", weight=1), Column("readings", "right"),
         *(Column(name, "right") for name in MARKED.values()), Column("noted", "right")),
        tuple(rows), size="small",
        note="“noted” is the recorded run time; a dash stands for what the log does not tell. The "
             "number beside a trial is that of the record that holds the log.",
    )
