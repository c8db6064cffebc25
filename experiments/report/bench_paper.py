"""The bench sheet on paper: one run a page, settings large, fields to fill in by hand."""

from __future__ import annotations

from experiments.bench_sheet import REFERENCES_PER_DAY, BenchSheet, SheetRun, how_to_fill
from experiments.report.digits import factor_name, factor_unit, factor_value, printed, value
from experiments.report.document import (
    Blank,
    Block,
    Bullets,
    Cell,
    Column,
    Document,
    Facts,
    Notice,
    Section,
    Table,
    even_parts,
    rows_of,
)
from experiments.report.job_part import end_words, solvents_words
from experiments.report.paper import render_pdf
from experiments.wording import counted

AT_ONCE = 6
"""Analytes in one table of fields."""


def sheet_pdf(sheet: BenchSheet) -> bytes:
    """The sheet as PDF."""
    return render_pdf(sheet_document(sheet))


def sheet_document(sheet: BenchSheet) -> Document:
    """Cautions and use on the first page, then a page a run."""
    first = Section("use", "Before the first run", (
        Notice("caution", "Cautions", printed(" ".join(sheet.cautions))),
        Bullets(how_to_fill(sheet), numbered=True),
        _overview(sheet),
    ))
    runs = tuple(_run(sheet, run) for run in sheet.runs)
    return Document(
        title=sheet.title, kind="Bench sheet",
        subtitle=f"{counted(len(runs), 'run')}, {sheet.job.equipment.vessels} vessels each",
        date=sheet.date,
        facts=(("dossier", sheet.dossier_id), ("equipment", sheet.job.equipment.name)),
        sections=(first, *runs), foot=f"Dossier {sheet.dossier_id}", has_contents=False,
    )


def _overview(sheet: BenchSheet) -> Table:
    free = [f for f in sheet.job.factors if not f.is_fixed]
    rows = [
        [str(run.run_order), run.trial,
         *(factor_value(sheet.job, f.name, run.setting[f.name]) for f in free),
         "–" if run.blank_vessel is None else str(run.blank_vessel), run.reason]
        for run in sheet.runs
    ]
    heads = [Column(f"{factor_name(f.name)} {factor_unit(f.name)}".strip(), "right")
             for f in free]
    return Table("Runs in the order to make them",
                 (Column("order", "right"), Column("trial"), *heads, Column("blank in", "right"),
                  Column("reason", weight=1)), rows_of(rows), size="small")


def _run(sheet: BenchSheet, run: SheetRun) -> Section:
    job = sheet.job
    settings = Table(
        "Set", (Column("", weight=2), Column("value", "right", 1), Column("unit", weight=1)),
        rows_of([[factor_name(f.name),
                  Cell(factor_value(job, f.name, run.setting[f.name]), strong=True),
                  factor_unit(f.name)] for f in job.factors]), size="large")
    facts = [("why", run.reason)] if run.reason else []
    facts.append(("each vessel", f"{job.sample.fill_volume_ml:g} mL of {solvents_words(job)} "
                                 f"{end_words(job.sample_at(run.setting))}"))
    if run.blank_vessel is not None:
        facts.append(("blank", f"vessel {run.blank_vessel}: solvent only, no spike"))
    if run.expected_min is not None:
        low, high = run.expected_min
        facts.append(("expected", f"{value(low, 0)} to {value(high, 0)} min"))
    blocks: list[Block] = [
        Facts(tuple(facts)), settings, Blank("Day, initials"), Blank("Run time", "min"),
        Blank("Outcome (finished, not dry, boil-over, aborted)"), *_fields(sheet, run),
        *_noted(sheet),
        Blank("Remarks", lines=2),
    ]
    return Section(f"run-{run.run_order}", f"Run {run.run_order}: trial {run.trial}",
                   tuple(blocks), page_break=True)


def _noted(sheet: BenchSheet) -> list[Block]:
    """Lines for what a reviewer asks for later."""
    keeper = " and keeper left, mL" if sheet.job.sample.keeper is not None else ""
    return [
        Blank("Measured temperature, °C, and end pressure, mbar"), Blank("Spike lot"),
        Blank(f"Final volume by weight, mL{keeper}"),
        Blank("Residue (dry, oily, crystals, colour)"),
    ]


def _fields(sheet: BenchSheet, run: SheetRun) -> list[Table]:
    """Empty cells for every vessel, a few analytes at a time."""
    names = [a.name for a in sheet.job.analytes]
    tables = []
    for part in even_parts(names, AT_ONCE):
        rows = [
            [str(v) + (" (blank)" if v == run.blank_vessel else ""), *[""] * len(part)]
            for v in range(1, sheet.job.equipment.vessels + 1)
        ]
        if sheet.in_amounts:
            rows += [[f"ref. {n + 1}", *[""] * len(part)]
                     for n in range(REFERENCES_PER_DAY)]
        columns = (Column("vessel", weight=0.6), *(Column(n, "right", 1) for n in part))
        title = "Found, µg" if sheet.in_amounts else "Recovery in percent"
        tables.append(Table(title, columns, rows_of(rows), size="fields"))
    return tables
