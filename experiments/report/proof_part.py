"""Sections on proof: verification, uncertainty, cautions."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.report.charts import verification_chart
from experiments.report.digits import figures, percent, setting_words, value
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
from experiments.report.records import last_record
from experiments.report.trials_part import closest_first
from experiments.verification_criteria import CriterionResult
from models.cautions import DEFER
from models.errors import Finding
from models.noise import RUN_TIME_SD, VESSEL_RSD


def verification(g: Gathered) -> Section:
    """The plan with its chance, the criteria, the runs, the decision."""
    made, found = g.plan, g.verification
    rules = made.criteria
    noted = last_record(g.dossier, "verification planned")
    kind = {"pass": "answer", "fail": "stop", "not enough runs": "caution"}[found.decision]
    blocks: list[Block] = [
        Notice(kind, f"Decision: {found.decision}", found.reason),  # type: ignore[arg-type]
        Paragraph(
            f"{'Planned' if noted is not None else 'Proposed plan (not yet in the record)'}: "
            f"{rules.runs} runs on at least {rules.days} days at "
            f"{setting_words(g.dossier.job, made.setting)}, all vessel positions used; criteria "
            f"from {rules.source}. The chance of passing, worked out beforehand from what the "
            f"true means may be and what runs scatter, is {percent(made.chance_of_passing)}. A "
            f"method whose true mean lies below a target passes with at most "
            f"{percent(1.0 - rules.confidence)}.",
            (noted,) if noted is not None else ()),
    ]
    needed = {n: m for n, m in made.needed_mean.items() if m is not None}
    if needed:
        name = min(needed, key=lambda n: g.shown.recovery_percent[n].mean - needed[n])
        blocks.append(Paragraph(
            f"To pass with a chance of 90 % an analyte's true mean must lie clear of its target: "
            f"{name}, the tightest, needs {needed[name]:.0f} % and is forecast at "
            f"{g.shown.recovery_percent[name].mean:.0f} %."))
    blocks.append(_alternatives(g))
    blocks.append(Table(
        "Criteria, fixed beforehand",
        (Column("criterion"), Column("analyte", weight=2), Column("required", weight=3),
         Column("found", "right"), Column("outcome")),
        rows_of([_criterion_row(c) for c in found.criteria]),
        size="small" if len(found.criteria) > 24 else "normal",
    ))
    told = [c for c in found.criteria if not c.decides]
    blocks += [Paragraph(c.sentence) for c in told]
    if g.runs:
        blocks += _runs(g)
    return Section("verification", "Verification", tuple(blocks))


def _alternatives(g: Gathered) -> Table:
    """Chance of passing by number of runs and days."""
    runs = sorted({c.runs for c in g.plan.alternatives if c.runs in (3, 4, 6, 8, 10, 12)}
                  | {g.plan.criteria.runs})
    chance = {(c.runs, c.days): c.chance for c in g.plan.alternatives}
    days = sorted({d for n, d in chance if n in runs and d in (3, 4, 6)})
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


def _criterion_row(c: CriterionResult) -> list[str]:
    found = "–" if c.found is None else (
        f"{value(c.found)} {c.unit}" if c.unit in ("%", "min")
        else f"{figures(c.found, 2)}" if c.unit == "p" else f"{c.found:g}"
    )
    return [c.name, c.analyte or "all", c.required, found, c.outcome]


def _runs(g: Gathered) -> list[Block]:
    found = g.verification
    targets = {r.analyte: r.target for r in g.plan.criteria.deciding}
    names = [a.name for a in closest_first(g)]
    rows: list[list[str | Cell]] = []
    for run in g.runs:
        place = ("counts" if run.id in found.counted else found.set_aside.get(run.id)
                 or "after the decision, listed only")
        record = int(run.record.removeprefix("event ")) if run.record else None
        rows.append([Cell(run.id, record), run.result.day or "–",
                     value(run.result.run_time_min), run.result.outcome, place])
    counted = [r for r in g.runs if r.id in found.counted]
    blocks: list[Block] = [Table(
        "Runs at the set point",
        (Column("run"), Column("day"), Column("min", "right"), Column("outcome"),
         Column("counts?", weight=2)), rows_of(rows),
        note="The number beside a run is that of its record in the history of this report.")]
    if counted:
        blocks.append(Figure(
            "Verification runs: single vessels (dots), run means (bars) and targets (dashed)",
            verification_chart(targets, counted, names),
            "Recoveries of the runs that count, by analyte."))
    return blocks


def uncertainty(g: Gathered) -> Section:
    """What the intervals mean and what is not in them."""
    job = g.dossier.job
    estimated = [a.name for a in job.analytes if a.is_new]
    assumed = [*job.equipment.assumed, *job.sample.assumed]
    scale = float(g.fitted.surrogate.scales_[:, 3].mean())
    lines = [
        "An interval of the true mean says where the mean of very many runs may lie; the interval "
        "of a single run adds the scatter of one run and its vessels.",
        f"Scatter was taken as {100 * RUN_TIME_SD:.0f} % of run time between runs and "
        f"{100 * VESSEL_RSD:.1f} % of recovery between vessels of a run (common practice, no "
        f"source); the trials put the scatter of recoveries between runs at {value(scale, 2)} "
        "times the usual.",
        "Vessels of one run share the run's effect and are not counted as replicates.",
        f"The forecasts rest on {len(g.fitted.trials)} trials and lie inside the window that was "
        "searched; outside it nothing is claimed.",
        "Results below a limit count as anywhere between zero and that limit; unfinished runs "
        "count as what they show, not as gaps.",
    ]
    if assumed:
        lines.append("Assumed because the job does not say: "
                     + ", ".join(n.replace("_", " ") for n in assumed) + ".")
    if estimated:
        lines.append(f"Known from a data sheet or structure only: {', '.join(estimated)}.")
    lines += [f"{f.message} {f.cure}".strip() for f in g.cautions if f.severity == "info"]
    return Section("uncertainty", "Uncertainty", (Bullets(tuple(lines)),))


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
    return " ".join(parts).replace("degC", "°C")


def general_cautions(g: Gathered) -> tuple[str, ...]:
    """Cautions of any such run, with this job's figures."""
    e = g.dossier.job.equipment
    batch = e.vessels * g.dossier.job.sample.fill_volume_ml
    trap = "fits the trap" if batch <= e.condenser_capacity_ml else "does not fit the trap at once"
    return (
        "Full speed before vacuum; vent before slowing down.",
        f"A batch makes up to {batch:g} mL of condensate; it {trap} of "
        f"{e.condenser_capacity_ml:g} mL. Empty it before the next batch.",
        "An internal standard added before evaporation hides losses: label such recoveries "
        "corrected and keep them out of the fit.",
        f"The tool advises, the analyst decides. {DEFER}",
    )


def _title(code: str) -> str:
    return code.replace("_", " ").capitalize()
