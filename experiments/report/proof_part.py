"""Sections on proof: verification, uncertainty, cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from experiments.dossier import Dossier
from experiments.events import last_of
from experiments.report.charts import verification_chart
from experiments.report.digits import NONE, figures, plain, printed, setting_words, value
from experiments.report.document import (
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Notice,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.job_part import DECISIONS, decision_word, is_of_setting
from experiments.report.trials_part import closest_first
from experiments.verification import every_plan
from experiments.verification_criteria import CriterionResult
from experiments.wording import as_asked, counted, percent
from models.cautions import DEFER
from models.errors import Finding
from models.noise import RUN_TIME_SD, VESSEL_RSD, run_sd

MOST_NORMAL = 14
"""Rows of the table of analytes that are set in the normal size."""
ASSUMED = {
    "heating": ("heating", ""), "condenser_power_w": ("condenser power", "W"),
    "pump_speed_m3_per_h": ("pump speed", "m³/h"), "chamber_volume_l": ("chamber volume", "L"),
    "set_temperature_tolerance_c": ("set temperature held within ±", "°C"),
    "end_pressure_tolerance_mbar": ("end pressure held within ±", "mbar"),
    "residue_mg": ("residue in a vessel", "mg"), "handling_min": ("handling of a batch", "min"),
}
"""Name and unit of what a job need not say."""


def verification(g: Gathered) -> Section:
    """The plan with its chance, the criteria, the runs, the decision."""
    made, found = g.plan, g.verification
    rules = made.criteria
    noted = last_of(g.dossier.events, "verification planned")
    kind = {"pass": "answer", "fail": "stop", "not enough runs": "caution"}[found.decision]
    blocks: list[Block] = [
        Notice(kind, f"Verification {decision_word(g)}", found.reason),  # type: ignore[arg-type]
        Paragraph(
            f"{'Planned' if noted is not None else 'Proposed plan (not yet in the record)'}: "
            f"{rules.runs} runs on at least {rules.days} days at "
            f"{setting_words(g.dossier.job, made.setting)}{_moved(g)}, all vessel positions used; "
            f"criteria "
            f"from {rules.source}. The chance of passing, worked out beforehand from what the "
            f"true means may be and what runs scatter, is {percent(made.chance_of_passing)}. A "
            f"method whose true mean lies below a target passes with at most "
            f"{as_asked(1.0 - rules.confidence)}.",
            (noted.seq,) if noted is not None else ()),
    ]
    blocks += earlier_plans(g.dossier)
    needed = {n: m for n, m in made.needed_mean.items() if m is not None}
    if needed and is_of_setting(g):
        name = min(needed, key=lambda n: g.shown.recovery_percent[n].mean - needed[n])
        blocks.append(Paragraph(
            f"To pass with a chance of 90 % an analyte's true mean must lie clear of its target: "
            f"{name}, the tightest, needs {needed[name]:.0f} % and is forecast at "
            f"{g.shown.recovery_percent[name].mean:.0f} %."))
    blocks += [Paragraph(text) for text in _hopeless(g)]
    blocks.append(_alternatives(g))
    blocks += [_run_criteria(g), _analyte_criteria(g)]
    told = [c for c in found.criteria if not c.decides]
    blocks += [Paragraph(c.sentence) for c in told]
    if g.runs:
        blocks += _runs(g)
    return Section("verification", "Verification", tuple(blocks))


def earlier_plans(dossier: Dossier) -> list[Paragraph]:
    """What became of plans that a later one replaced, where runs had been made by them."""
    return [
        Paragraph(
            f"An earlier plan, of {v.plan.criteria.runs} runs at "
            f"{setting_words(dossier.job, v.plan.setting)}, {DECISIONS[v.decision]}. "
            f"{printed(v.reason)} A later plan took its place; its runs do not count above.",
            (seq,))
        for seq, v in every_plan(dossier)[:-1] if v.counted or v.set_aside
    ]


def _moved(g: Gathered) -> str:
    """A word where the setting to verify, that of the record, is not the one of this report."""
    if g.plan.setting == g.setting:
        return ""
    anew = "" if g.runs else ", so recommend anew before the runs"
    return (" (recommended when it was recorded; worked out again for this report it is "
            f"{setting_words(g.dossier.job, g.setting)}{anew})")


def _hopeless(g: Gathered) -> list[str]:
    """Analytes that no true mean lets pass, because their vessels scatter too widely."""
    names = [a.name for a in g.dossier.job.analytes]
    found = []
    for row in g.plan.criteria.deciding:
        scatter = 100.0 * float(g.fitted.vessel_rsd[names.index(row.analyte)])
        if g.plan.needed_mean[row.analyte] is None and scatter > 0.7 * row.rsd_max:
            found.append(
                f"{row.analyte[:1].upper()}{row.analyte[1:]} is not expected to pass: between the "
                f"vessels of a run it scattered by {scatter:.0f} % in the trials (relative "
                f"standard deviation), where its criterion allows {row.rsd_max:g} % for single "
                "vessels. Look for vessels that run hotter, colder or longer than the others, or "
                "write another limit beforehand, with its reason.")
    return found


def _alternatives(g: Gathered) -> Table:
    """Chance of passing by number of runs and days, those of the plan among them."""
    made = g.plan.criteria
    runs = sorted({c.runs for c in g.plan.alternatives if c.runs in (3, 4, 6, 8, 10, 12)}
                  | {made.runs})
    chance = {(c.runs, c.days): c.chance for c in g.plan.alternatives}
    shown = {3, 4, 6} | ({made.days} if made.days < made.runs else set())
    days = sorted({d for n, d in chance if n in runs and d in shown})
    rows = [
        [str(n), *(percent(chance[n, d]) if (n, d) in chance else "–" for d in days),
         percent(chance[n, n]) if (n, n) in chance else "–"]
        for n in runs
    ]
    return Table(
        "Chance of passing by number of runs and days",
        (Column("runs", "right"), *(Column(f"on {d} days", "right", 1) for d in days),
         Column("one run a day", "right", 1)),
        rows_of(rows),
        note="Runs of one day share that day, so days count more than runs.",
    )


def _run_criteria(g: Gathered) -> Table:
    """What is asked of the runs as a whole, with what was found."""
    per_analyte = {c.name for c in g.verification.criteria if c.analyte and c.decides}
    return Table(
        "Criteria of the runs, fixed beforehand",
        (Column("criterion", weight=2), Column("required", weight=3), Column("found", "right"),
         Column("outcome")),
        rows_of([
            [c.title, c.required, _found(c, bool(g.runs)), c.outcome_words]
            for c in g.verification.criteria if c.name not in per_analyte
        ]),
    )


def _found(c: CriterionResult, has_runs: bool) -> str:
    if c.found is None or not has_runs:
        return NONE
    if c.unit == "runs" and c.limit == 0.0:
        return {0: "no exception", 1: "1 exception"}.get(int(c.found), f"{c.found:.0f} exceptions")
    if c.unit in ("%", "min"):
        return f"{value(c.found)} {c.unit}"
    return figures(c.found, 2) if c.unit == "p" else plain(c.found)


def _analyte_criteria(g: Gathered) -> Table:
    """What is asked of every analyte that decides; what was found stands in brackets."""
    rules = g.plan.criteria
    share = f"{100 * rules.confidence:g} %"
    judged = {(c.name, c.analyte): c for c in g.verification.criteria if c.analyte}
    has_action = any(r.action_limit is not None for r in rules.deciding)
    rows = []
    for r in rules.deciding:
        asked = [
            ("mean in band", f"{plain(r.mean_low)} to {plain(r.mean_high)}"),
            ("scatter", plain(r.rsd_max)), ("confidence limit", plain(r.target)),
        ]
        if has_action:
            limit = NONE if r.action_limit is None else plain(r.action_limit)
            asked.append(("tolerance limit", limit))
        held = [judged.get((name, r.analyte)) for name, _ in asked]
        cells = [
            text if c is None or c.found is None else f"{text} ({value(c.found)})"
            for (_, text), c in zip(asked, held, strict=True)
        ]
        rows.append([r.analyte, *cells, _outcome_words([c for c in held if c is not None])])
    action = (
        [Column(f"{100 * rules.coverage:g} % of vessels above", "right", 1)] if has_action else []
    )
    return Table(
        "Criteria of the analytes, fixed beforehand: recoveries in %",
        (Column("analyte", weight=2), Column("mean within", "right", 1),
         Column("RSD at most", "right", 1), Column(f"mean above, {share} sure", "right", 1),
         *action, Column("outcome")),
        rows_of(rows), size="small" if len(rows) > MOST_NORMAL else "normal",
        note="What was found stands in brackets. RSD: relative standard deviation of single "
        "vessels, runs and days included. "
        f"“{share} sure”: the one-sided {share} confidence limit of the mean.",
    )


def _outcome_words(held: Sequence[CriterionResult]) -> str:
    """The outcomes of one analyte in one word, the first failure by its name."""
    failed = [c.name for c in held if c.met is False]
    if failed:
        return f"not met: {', '.join(failed)}"
    return "met" if held and all(c.met for c in held) else "open"


def _runs(g: Gathered) -> list[Block]:
    found = g.verification
    targets = {r.analyte: r.target for r in g.plan.criteria.deciding}
    names = [a.name for a in closest_first(g)]
    rows: list[list[str | Cell]] = []
    for run in g.runs:
        place = ("counts" if run.id in found.counted else
                 "after the decision, listed only" if run.id in found.later
                 else found.set_aside[run.id])
        rows.append([Cell(run.id, run.record), run.result.day or "–",
                     value(run.result.run_time_min), run.result.outcome, place])
    counting = [r for r in g.runs if r.id in found.counted]
    blocks: list[Block] = [Table(
        "Runs at the set point",
        (Column("run"), Column("day"), Column("min", "right"), Column("outcome"),
         Column("counts?", weight=2)), rows_of(rows),
        note="The number beside a run is that of its record in the history of this report.")]
    if counting:
        blocks.append(Figure(
            "Verification runs: single vessels (dots), run means (bars) and targets (dashed)",
            verification_chart(targets, counting, names),
            "Recoveries of the runs that count, by analyte."))
    return blocks


def _assumed(g: Gathered) -> list[str]:
    """Every default the job rests on, in words, with its value and unit."""
    job = g.dossier.job
    found = []
    for part, names in ((job.equipment, job.equipment.assumed), (job.sample, job.sample.assumed),
                        (job.limits, job.limits.assumed)):
        for name in names:
            words, unit = ASSUMED.get(name, (name.replace("_", " "), ""))
            held = getattr(part, name)
            found.append(
                f"{words} {held if isinstance(held, str) else plain(held)}{unit and ' ' + unit}")
    spiked = [a.name for a in job.analytes if "spike_ug" in a.assumed]
    if spiked:
        amount = plain(next(a.spike_ug for a in job.analytes if "spike_ug" in a.assumed))
        found.append(f"{amount} micrograms spiked of {', '.join(spiked)}")
    return found


def uncertainty(g: Gathered) -> Section:
    """What the intervals mean and what is not in them."""
    job = g.dossier.job
    estimated = [a.name for a in job.analytes if a.is_new]
    assumed = _assumed(g)
    scale = float(g.fitted.surrogate.scales_.recovery_noise.mean())
    lines = [
        "An interval of the true mean says where the mean of very many runs may lie; the interval "
        "of a single run adds the scatter of one run and its vessels.",
        f"Scatter was taken as {figures(100 * RUN_TIME_SD, 2)} % of run time between runs, "
        f"{_run_scatter(0.9)} of a recovery between runs where it is 90 % and {_run_scatter(0.6)} "
        f"where it is 60 %, and {figures(100 * VESSEL_RSD, 2)} % between vessels of a run (common "
        "practice, no source); the trials put the scatter of recoveries between runs at "
        f"{value(scale, 2)} times the usual.",
        "Vessels of one run share the run's effect and are not counted as replicates; runs of one "
        "day share part of it.",
        "A stated probability holds if the run model and the assumed scatter do. How often such "
        "statements came true was tried on simulated benches only, with the result told in the "
        "README; so the verification runs decide, not the probability.",
        f"The forecasts rest on {counted(len(g.fitted.trials), 'trial')} and lie inside the "
        "window that was searched; outside it nothing is claimed.",
        "Results below a limit count as anywhere between zero and that limit; unfinished runs "
        "count as what they show, not as gaps.",
    ]
    if assumed:
        lines.append(f"Assumed because the job does not say: {', '.join(assumed)}.")
    if estimated:
        lines.append(f"Known from a data sheet or structure only: {', '.join(estimated)}.")
    lines += [printed(f.sentence) for f in g.cautions if f.severity == "info"]
    return Section("uncertainty", "Uncertainty", (Bullets(tuple(lines)),))


def _run_scatter(recovery: float) -> str:
    """What a recovery scatters by from run to run, relative to itself."""
    return f"{figures(100.0 * float(run_sd(np.array([recovery]))[0]) / recovery, 2)} %"


def cautions(g: Gathered) -> Section:
    """Dangers of the substances and of the work."""
    by_code: dict[str, list[Finding]] = {}
    for finding in g.cautions:
        if finding.severity != "info":
            by_code.setdefault(finding.code, []).append(finding)
    blocks: list[Block] = [
        Notice("stop" if any(f.severity == "stop" for f in found) else "caution", _title(code),
               _joined(found))
        for code, found in by_code.items()
    ]
    blocks.append(Bullets(general_cautions(g)))
    return Section("cautions", "Cautions", tuple(blocks))


def _joined(found: Sequence[Finding]) -> str:
    """Messages of one kind, each cure once."""
    parts = dict.fromkeys(p for f in found for p in (f.message, f.cure) if p)
    return printed(" ".join(parts))


def general_cautions(g: Gathered) -> tuple[str, ...]:
    """Cautions of any such run, with this job's figures."""
    return (
        "Full speed before vacuum; vent before slowing down.",
        g.dossier.job.trap_sentence,
        "An internal standard added before evaporation hides losses: label such recoveries "
        "corrected and keep them out of the fit.",
        f"The tool advises, the analyst decides. {DEFER}",
    )


def _title(code: str) -> str:
    return code.replace("_", " ").capitalize()
