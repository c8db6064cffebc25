"""The method on one page, for the bench: what to set, in which order, what to watch."""

from __future__ import annotations

from experiments.job import EvaporationJob, Sample
from experiments.report.answer_part import range_words, star_note
from experiments.report.digits import (
    factor_name,
    factor_unit,
    factor_value,
    plain,
    printed,
    value,
)
from experiments.report.document import (
    Blank,
    Block,
    Bullets,
    Cell,
    Column,
    Facts,
    Notice,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.job_part import decision_word, end_words, solvents_words
from experiments.wording import counted, percent
from models.cautions import DEFER

MOST_TARGETS = 8


def method_sheet(g: Gathered) -> Section:
    """One page; a setting that is not recommended or not verified says so on top."""
    job = g.dossier.job
    blocks: list[Block] = [
        *_status(g),
        Facts((
            ("sample", f"{job.sample.fill_volume_ml:g} mL of {solvents_words(job)} a vessel, "
             f"{end_words(job.sample_at(g.setting))}"),
            ("equipment", f"{job.equipment.name}, {job.equipment.vessels} vessels of "
             f"{job.equipment.vessel_capacity_ml:g} mL"),
        )),
        _settings(g),
        Facts((
            ("expect", f"{value(g.new_run.run_time_min.low, 0)} to "
             f"{value(g.new_run.run_time_min.high, 0)} min a run (95 % of runs)"),
            ("recoveries", _targets(job)),
        )),
        Paragraph("Steps", strong=True),
        Bullets(steps(job, job.sample_at(g.setting)), numbered=True),
        Paragraph("Stop and ask when", strong=True),
        Bullets(_stops(g)),
        Paragraph("Cautions", strong=True),
        Bullets(_cautions(g)),
        Blank("Run, date, analyst"),
        Blank("Run time", "min"),
        Blank("Remarks"),
    ]
    return Section("method-sheet", "Method sheet for the bench", tuple(blocks), page_break=True)


def _status(g: Gathered) -> list[Block]:
    if not g.is_recommended:
        return [Notice("stop", "Not a released method",
                       f"No setting is recommended yet ({g.answer.status}); the setting below is "
                       f"the best found and reaches {percent(g.shown.probability)}.")]
    if g.dossier.state != "approved":
        return [Notice("caution", "Not released for routine use",
                       f"Dossier {g.dossier.id} is {g.dossier.state}; verification "
                       f"{decision_word(g)}.")]
    return []


def _settings(g: Gathered) -> Table:
    job = g.dossier.job
    held = {r.factor: r for r in g.region.box} if g.region is not None else {}
    rows: list[list[str | Cell]] = [
        [Cell(factor_name(f.name)),
         Cell(factor_value(job, f.name, g.setting[f.name]), strong=True), factor_unit(f.name),
         range_words(job, held[f.name]) if f.name in held else "–"]
        for f in job.factors
    ]
    return Table(
        "What to set",
        (Column("", weight=2), Column("set", "right"), Column("unit"),
         Column("may vary within", "right", 2)),
        rows_of(rows),
        note=star_note(rows, "* end of the window that was searched."), size="large",
    )


def _targets(job: EvaporationJob) -> str:
    if len(job.must) > MOST_TARGETS:
        low = min(a.target_recovery_percent for a in job.must)
        high = max(a.target_recovery_percent for a in job.must)
        targets = f"targets from {low:g} to {high:g} %" if low < high else f"a target of {low:g} %"
        return f"{len(job.must)} analytes decide, with {targets}; see the report"
    return ", ".join(f"{a.name} at least {a.target_recovery_percent:g} %" for a in job.must)


def steps(job: EvaporationJob, sample: Sample) -> tuple[str, ...]:
    """What to do in which order, with the keeper and the end volume of the setting."""
    e = job.equipment
    keeper = (
        f"Add {sample.keeper.volume_ml:g} mL {sample.keeper.name} to each vessel. "
        if sample.keeper is not None else ""
    )
    end = (
        f"It stops when the condenser load has stayed below {100 * e.end_point_load_fraction:g} % "
        f"of its peak for {_hold_words(job)}."
        if sample.end_volume_ml == 0.0 else
        f"It stops at {sample.end_volume_ml:g} mL, found by {sample.end_volume_control}."
    )
    trap = (f"has room for {job.condensate_ml:g} mL" if job.batches_in_trap else
            f"empty ({e.condenser_capacity_ml:g} mL)")
    return (
        f"Check that the condenser is at {plain(e.condenser_temperature_c)} °C and its trap "
        f"{trap}.",
        f"{keeper}Fill {sample.fill_volume_ml:g} mL a vessel, balance the rotor, close the lid.",
        f"Bring the rotor to full speed ({e.relative_centrifugal_force:g} times gravity), then "
        "start the vacuum.",
        f"Start the method: pressure falls quickly to {e.ramp_start_pressure_mbar:g} mbar, then "
        "linearly at the ramp rate to the end pressure.",
        end,
        "Vent before the rotor slows down; take the vessels out at once.",
    )


def _hold_words(job: EvaporationJob) -> str:
    if any(f.name == "end_point_hold_min" for f in job.factors):
        return "the end-point hold above"
    return f"{job.equipment.end_point_hold_min:g} min"


def _stops(g: Gathered) -> tuple[str, ...]:
    high = g.new_run.run_time_min.high
    return (
        f"a run is not over after {value(high, 0)} min",
        "liquid or residue shows outside a vessel: boil-over loses every analyte alike, and "
        "neighbours and blanks may gain",
        "a vessel holds ice, or looks wet where its neighbours are dry",
    )


def _cautions(g: Gathered) -> tuple[str, ...]:
    found = [f for f in g.cautions if f.severity != "info"]
    lines = [printed(f.message) for f in found[:4]]
    if len(found) > 4:
        lines.append(f"{counted(len(found) - 4, 'more caution')} in the report.")
    return (*lines, DEFER)
