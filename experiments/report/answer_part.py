"""Sections on the answer: recommendation, why, operating region, gain over the method in use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

from experiments.consequences import Consequences
from experiments.differences import ALLOWANCE
from experiments.job import EvaporationJob
from experiments.region import Range, Region, why_no_region
from experiments.report.charts import forecast_against_targets
from experiments.report.digits import (
    factor_name,
    factor_unit,
    factor_value,
    interval,
    printed,
    setting_words,
    value,
)
from experiments.report.document import (
    Block,
    Bullets,
    Cell,
    Column,
    Facts,
    Figure,
    Notice,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.job_part import is_of_setting
from experiments.report.maps import region_slices
from experiments.report.rationale import margin_sentence, what_was_rejected, why_this_setting
from experiments.report.trials_part import closest_first
from experiments.verification import why_it_failed
from experiments.wording import as_asked, percent, portion

ON_A_PAGE = 30


def recommendation(g: Gathered) -> Section:
    """The setting with its forecast for every analyte, and why this one."""
    job = g.dossier.job
    head = "Recommended setting" if g.is_recommended else "Best setting found, not recommended"
    blocks: list[Block] = [
        Notice("answer" if g.is_recommended else "caution", head,
               setting_words(job, g.setting)),
        Facts(_promise(g)),
    ]
    failed = why_it_failed(g.dossier, g.setting)
    if failed:
        blocks.insert(1, Notice("caution", "Verification runs of this setting did not pass",
                                printed(failed)))
    if g.answer.remedies:
        blocks.append(Paragraph("What would help, worked out with the run model:"))
        blocks.append(Bullets(tuple(printed(r.sentence) for r in g.answer.remedies)))
    blocks += _forecast(g)
    lines = [
        *why_this_setting(job, g.shown, g.neighbours, g.drifts),
        *(s for s in [margin_sentence(job, g.shown, g.answer.fastest)] if s),
    ]
    why = "Why this setting" if g.is_recommended else "What other settings would give"
    blocks.append(Paragraph(why, strong=True))
    blocks.append(Bullets(tuple(lines)))
    rejected = what_was_rejected(job, g.dossier.trials)
    if rejected:
        blocks.append(Paragraph("What was tried and did not do", strong=True))
        blocks.append(Bullets(rejected))
    return Section("recommendation", "Recommendation", tuple(blocks))


def _promise(g: Gathered) -> tuple[tuple[str, str], ...]:
    shown = g.shown
    return (
        ("probability", f"{percent(shown.probability)} that every target is met and the run ends "
         f"in time (asked: {as_asked(g.dossier.job.limits.assurance)})"),
        ("run time", f"{interval(shown.run_time_min)} min, 95 % interval of the true mean; a "
         f"single run {value(g.new_run.run_time_min.low, 0)} to "
         f"{value(g.new_run.run_time_min.high, 0)} min"),
        ("boil-over", f"probability {percent(shown.boil_over_probability)}"),
        ("verification", f"a plan of {g.plan.criteria.runs} runs on {g.plan.criteria.days} days "
         f"would pass with a chance of {percent(g.plan.chance_of_passing)}" if is_of_setting(g)
         else "the plan in the record is of another setting; plan anew for this one"),
        ("reason", g.answer.reason),
    )


def _forecast(g: Gathered) -> list[Block]:
    job = g.dossier.job
    rows = []
    for a in job.analytes:
        true, single = g.shown.recovery_percent[a.name], g.new_run.recovery_percent[a.name]
        rows.append([
            a.name, "decides" if a.role == "must" else "watched",
            f"{a.target_recovery_percent:g}", interval(true),
            f"{value(single.low, 0)} to {value(single.high, 0)}",
            percent(g.shown.analyte_probability[a.name]),
        ])
    blocks: list[Block] = [Table(
        "Forecast at the setting, % of the spike",
        (Column("analyte", weight=2), Column("role"), Column("target", "right"),
         Column("true mean (95 %)", "right"), Column("single run (95 %)", "right"),
         Column("probability", "right")),
        rows_of(rows),
        note="Probability that the true mean meets the target.",
    )]
    names = [a.name for a in closest_first(g)]
    for start in range(0, len(names), ON_A_PAGE):
        part = names[start : start + ON_A_PAGE]
        blocks.append(Figure(
            "Forecast true mean recoveries with 95 % intervals; the upright tick is the target"
            + ("" if len(names) <= ON_A_PAGE else f" ({start + 1} to {start + len(part)})"),
            forecast_against_targets(job, g.shown, part),
            "Forecast recoveries against targets, the nearest to its target first.",
        ))
    return blocks


def region(g: Gathered) -> Section:
    """The joint region, the box inside it, single ranges, and what breaks first."""
    job, found = g.dossier.job, g.region
    if found is None:
        return Section("region", "Operating region", (Paragraph(
            why_no_region(g.fitted, g.shown.setting)),))
    together = "" if found.together is None else (
        f" The probability that every target is met everywhere in the box at once is "
        f"{percent(found.together)}."
    )
    blocks: list[Block] = [
        Paragraph(
            "In the words of ICH Q14 (1 November 2023; check your edition) the method operable "
            "design region is the joint, multivariate region in which the criteria are met. Here "
            f"it is the set of settings whose probability is at least "
            f"{as_asked(found.assurance)}; it covers {portion(found.share)} of the window "
            "(pressures and ramp on a logarithmic scale). A box of ranges that hold together lies "
            "inside it but is only a part of it; a proven acceptable range is that of one factor "
            "while the others stay at the set point."
        ),
        _ranges_table(job, found),
        Paragraph(
            f"{found.checked} settings in the box, corners included, were forecast; the lowest "
            f"probability among them is {percent(found.lowest)}.{together} "
            + _tolerance_words(g, found)
        ),
        Figure(
            "Slices through the operating region at the set point (diamond); the outline is the "
            "box of ranges that hold together", region_slices(found),
            "Probability over pairs of factors, the others at the set point.",
        ),
        Paragraph("Which drift breaks what first, the most sensitive factor on top:"),
        Bullets(tuple(d.sentence for d in g.drifts)),
    ]
    return Section("region", "Operating region", tuple(blocks))


def _tolerance_words(g: Gathered, found: Region) -> str:
    e = g.dossier.job.equipment
    held = (f"What the equipment holds (± {e.set_temperature_tolerance_c:g} °C, ± "
            f"{e.end_pressure_tolerance_mbar:g} mbar)")
    return f"{held} {'stays' if found.tolerance_inside else 'does not stay'} inside the box."


def _ranges_table(job: EvaporationJob, found: Region) -> Table:
    rows: list[list[str | Cell]] = []
    for joint, alone in zip(found.box, found.proven, strict=True):
        name = joint.factor
        rows.append([
            factor_name(name), factor_value(job, name, found.setting[name]),
            range_words(job, joint), range_words(job, alone), factor_unit(name),
        ])
    return Table(
        "Set point, ranges that hold together, and proven acceptable ranges of single factors",
        (Column("factor", weight=2), Column("set point", "right"),
         Column("hold together (box)", "right"), Column("alone, others at set point", "right"),
         Column("unit")),
        rows_of(rows),
        note=star_note(rows, "* end of the window that was searched, not of the region."),
    )


def range_words(job: EvaporationJob, found: Range) -> str:
    """A range with a star where the window ends it."""
    low = factor_value(job, found.factor, found.low) + ("*" if found.open_low else "")
    high = factor_value(job, found.factor, found.high) + ("*" if found.open_high else "")
    return f"{low} to {high}"


def star_note(rows: Sequence[Sequence[str | Cell]], note: str) -> str:
    """The note to a star, where a row has one."""
    cells = [c.text if isinstance(c, Cell) else c for row in rows for c in row]
    return note if any(text.endswith("*") or "* to " in text for text in cells) else ""


def gain(g: Gathered) -> Section | None:
    """Minutes and samples against the method in use, and how trials differ."""
    found = g.comparison
    if found.today is None or found.recommended is None:
        return None
    labels = {
        "run_time_min": ("run time", "min", 0), "batch_min": ("batch with handling", "min", 0),
        "batches_a_day": ("batches a day", "", 0), "samples_a_day": ("samples a day", "", 0),
        "samples_a_week": ("samples a week", "", 0),
        "analyst_min_a_week": ("analyst's time", "min a week", 0),
        "solvent_l_a_week": ("solvent evaporated", "L a week", 1),
        "condenser_emptyings_a_week": ("condenser emptyings", "a week", 0),
    }
    rows = [
        [labels[f.name][0], value(getattr(found.today, f.name), labels[f.name][2]),
         value(getattr(found.recommended, f.name), labels[f.name][2]), labels[f.name][1]]
        for f in fields(Consequences) if f.name in labels
    ]
    return Section("gain", "Against the method in use", (
        *(Paragraph(s) for s in found.sentences),
        *_side_by_side(g),
        Table("At full use of one evaporator",
              (Column("", weight=2), Column("in use today", "right"),
               Column("recommended", "right"), Column("unit")), rows_of(rows),
              note=f"Assumed: {found.recommended.assumption}. Batches a day are whole ones, "
              "counted before times are rounded."),
    ))


def _side_by_side(g: Gathered) -> list[Block]:
    """The recoveries of both methods on the days on which both were run."""
    said = tuple(printed(d.sentence) for d in g.comparison.differences)
    return [
        Paragraph(f"Recoveries on the days on which both were run, paired by day. {ALLOWANCE}"),
        Bullets(said),
    ] if said else []
