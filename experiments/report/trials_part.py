"""Sections on the trials: all results, vessel by vessel, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.corrections import CORRECTING, corrections
from experiments.job import Analyte
from experiments.report.charts import PANELS, recovery_against_time
from experiments.report.digits import NONE, factor_name, factor_unit, factor_value, value
from experiments.report.document import (
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Paragraph,
    Section,
    Table,
    even_parts,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.means import mean_recovery
from experiments.report.records import result_records
from experiments.trials import Result, Trial
from experiments.verification_runs import readings

AT_ONCE = 6
"""Analytes in one table; longer lists take several tables."""
DEVIATING = {
    **dict.fromkeys(CORRECTING, "corrected"), "excluded": "kept out of the fit",
    "included": "counted again", "withdrawn": "withdrawn",
    "trace removed": "log no longer counts",
}
"""Kinds of entries that change what was planned or recorded, in words."""


def trials(g: Gathered) -> Section:
    """Settings, outcomes, run times and mean recoveries of every trial, then every vessel."""
    blocks: list[Block] = [_runs_table(g)]
    names = [a.name for a in closest_first(g)]
    blocks.append(Figure(
        f"Mean recovery against run time{_panels_words(names)}; the dashed line is the target, "
        "the diamond the forecast at the set point with its 95 % interval; a reading below its "
        "limit counts as half of it",
        recovery_against_time(g.dossier.job, g.dossier.trials, names, g.shown),
        "Recovery against run time of all finished trials, one panel an analyte.",
    ))
    for part in even_parts(g.dossier.job.analytes, AT_ONCE):
        blocks.append(_means_table(g, part))
    for part in even_parts(g.dossier.job.analytes, AT_ONCE):
        blocks += _vessel_tables(g, part)
    return Section("trials", "All trials with all results", tuple(blocks))


def closest_first(g: Gathered) -> list[Analyte]:
    """Analytes that decide, those nearest to their target first; then the others."""
    def margin(analyte: Analyte) -> tuple[bool, float]:
        mean = g.shown.recovery_percent[analyte.name].mean
        return analyte.role != "must", mean - analyte.target_recovery_percent

    return sorted(g.dossier.job.analytes, key=margin)


def _panels_words(names: Sequence[str]) -> str:
    if len(names) <= PANELS:
        return ""
    return f", the {PANELS} of {len(names)} analytes nearest to their targets"


def _runs_table(g: Gathered) -> Table:
    job = g.dossier.job
    free = [f for f in job.factors if not f.is_fixed]
    held = result_records(g.dossier)
    rows = []
    for trial in g.dossier.trials:
        result = trial.result
        record = held.get(trial.id, (None,))[-1]
        rows.append([
            Cell(trial.id, record), *(
                factor_value(job, f.name, trial.setting[f.name]) if f.name in trial.setting
                else NONE for f in free),
            NONE if result is None else value(result.run_time_min),
            trial.state if result is None else result.outcome,
            NONE if result is None else result.day or NONE,
            _state_words(trial),
        ])
    heads = [Column(_head(f.name), "right" if not f.choices else "left") for f in free]
    return Table(
        "Settings, outcomes and run times of all trials",
        (Column("trial"), *heads, Column("min", "right"), Column("outcome"), Column("day"),
         Column("remark", weight=1)),
        rows_of(rows),
        note="The number beside a trial is that of its record in the history of this report.",
    )


def _head(name: str) -> str:
    short = {"set_temperature_c": "set", "ramp_rate_mbar_per_min": "ramp",
             "end_pressure_mbar": "end", "keeper_volume_ml": "keeper",
             "end_volume_ml": "end vol.", "end_point_hold_min": "hold"}
    unit = factor_unit(name)
    return f"{short.get(name, factor_name(name))} {unit}".strip()


def _state_words(trial: Trial) -> str:
    remarks = []
    if trial.state == "excluded":
        remarks.append("kept out of the fit")
    if trial.result is not None and trial.result.corrected:
        remarks.append("corrected recoveries, not learnt from")
    if trial.result is not None and trial.result.remark:
        remarks.append(trial.result.remark)
    if trial.origin == "today":
        remarks.append("method in use")
    if trial.origin == "robustness":
        remarks.append("robustness study")
    if trial.run_of is not None:
        remarks.append(f"run {trial.run_of.run} of a failed verification")
    return "; ".join(remarks)


def _means_table(g: Gathered, part: Sequence[Analyte]) -> Table:
    """Mean recoveries of all trials for a few analytes, misses set apart."""
    usual = _usual_count(g)
    rows: list[list[str | Cell]] = [
        [trial.id, *(_mean_cell(trial.result, a, usual) for a in part)]
        for trial in g.dossier.trials if trial.result is not None
    ]
    targets = [Cell("target", strong=True),
               *(Cell(f"{a.target_recovery_percent:g}", strong=True) for a in part)]
    return Table(
        f"Mean recovery in % of the spike{_part_words(g, part)}",
        (Column("trial"), *(Column(a.name, "right", 1.0) for a in part)),
        rows_of([targets, *rows]),
        note=f"Bold: below the target. Means of {usual} measured vessels of "
        f"{g.dossier.job.equipment.vessels}; n where it is another number. “<”: some vessels read "
        "below their limit, so the mean is at most this.",
    )


def _usual_count(g: Gathered) -> int:
    """The number of vessels most means are made of."""
    counts = [
        _count(t.result, a, g.dossier.job.equipment.vessels)
        for t in g.dossier.trials if t.result is not None for a in g.dossier.job.analytes
        if len(readings(t.result, a.name))
    ]
    return max(set(counts), key=counts.count) if counts else g.dossier.job.equipment.vessels


def _count(result: Result, analyte: Analyte, vessels: int) -> int:
    single = result.is_mean.get(analyte.name, False)
    return vessels if single else len(readings(result, analyte.name))


def _mean_cell(result: Result, analyte: Analyte, usual: int) -> Cell:
    """A mean; with readings below a limit it is the highest the mean may be."""
    mean = mean_recovery(result, analyte.name)
    if mean is None:
        return Cell(NONE)
    count = usual if result.is_mean.get(analyte.name, False) else mean.count
    return Cell(mean.words() + ("" if count == usual else f" (n {count})"),
                strong=mean.highest < analyte.target_recovery_percent)


def _part_words(g: Gathered, part: Sequence[Analyte]) -> str:
    if len(part) == len(g.dossier.job.analytes):
        return ""
    first = [a.name for a in g.dossier.job.analytes].index(part[0].name)
    return f", analytes {first + 1} to {first + len(part)} of {len(g.dossier.job.analytes)}"


def _vessel_tables(g: Gathered, part: Sequence[Analyte]) -> list[Table]:
    """Every reading of every vessel, for trials that have them by vessel."""
    rows: list[list[Cell | str]] = []
    for trial in g.dossier.trials:
        result = trial.result
        if result is None:
            continue
        by_vessel = [a for a in part if not result.is_mean.get(a.name, True)]
        for vessel in range(g.dossier.job.equipment.vessels if by_vessel else 0):
            cells = [_reading(result, a, vessel) for a in part]
            if any(c != NONE for c in cells):
                rows.append([trial.id, str(vessel + 1), *cells])
    if not rows:
        return []
    return [Table(
        f"Every reading, % of the spike{_part_words(g, part)}",
        (Column("trial"), Column("vessel", "right"),
         *(Column(a.name, "right", 1.0) for a in part)),
        rows_of(rows), size="small",
    )]


def _reading(result: Result, analyte: Analyte, vessel: int) -> str:
    held = result.recovery.get(analyte.name, ())
    if result.is_mean.get(analyte.name, False) or vessel >= len(held):
        return NONE
    reading = held[vessel]
    if reading is None:
        return NONE
    return f"<{reading.percent:g}" if reading.censored else value(reading.percent)


def deviations(g: Gathered) -> Section:
    """Corrections, exclusions, withdrawals, and readings nothing explains."""
    told = corrections(g.dossier.events)
    rows: list[list[str | Cell]] = [
        [Cell(str(e.payload.get("trial", e.payload.get("run"))), e.seq), DEVIATING[e.kind],
         told[int(e.payload["replaces"])] if e.kind in CORRECTING else NONE,
         str(e.payload.get("reason", "")), e.who, e.at[:16].replace("T", " ")]
        for e in g.dossier.events if e.kind in DEVIATING
    ]
    blocks: list[Block] = []
    if rows:
        blocks.append(Table(
            "Corrections, exclusions and withdrawals of trials and verification runs",
            (Column("run"), Column("what"), Column("changed", weight=3),
             Column("reason", weight=3), Column("who"), Column("when (UTC)")), rows_of(rows),
            note="The number beside a run is that of the record in the history of this report."))
    else:
        blocks.append(Paragraph("No result was corrected, kept out or withdrawn."))
    if g.odd:
        blocks.append(Paragraph("Readings that the other runs and physics do not explain; they "
                                "count all the same:"))
        blocks.append(Bullets(tuple(f.sentence for f in g.odd)))
    return Section("deviations", "Deviations and exclusions", tuple(blocks))
