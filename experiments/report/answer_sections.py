"""Sections on the answer: recommendation, region, verification, uncertainty, history."""

from __future__ import annotations

from typing import TYPE_CHECKING

from experiments.answers import Answer
from experiments.consequences import consequences
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.events import verify_chain
from experiments.job import Setting
from experiments.region import operating_region
from experiments.report import figures
from experiments.report.blocks import (
    Block,
    Bullets,
    Figure,
    Paragraph,
    Section,
    SignatureLines,
    TableBlock,
)
from experiments.report.rationale import rationale
from experiments.report.words import factor_words, number, percent, setting_words
from experiments.sensitivity import drifts
from experiments.verification import verify
from experiments.verification_runs import recorded_runs

if TYPE_CHECKING:
    from experiments.fitted import Fitted


def build(
    dossier: Dossier, fitted: Fitted, answer: Answer, shown: Setting | None
) -> tuple[Section, ...]:
    """The sections in order."""
    sections = [_recommendation(dossier, fitted, answer, shown)]
    if answer.setting is not None:
        sections.append(_region(fitted, answer.setting))
        sections.append(_verification(dossier, fitted))
        sections.append(_consequences(dossier, answer))
    return (*sections, _uncertainty(dossier), _history(dossier), _signatures())


def _recommendation(
    dossier: Dossier, fitted: Fitted, answer: Answer, shown: Setting | None
) -> Section:
    blocks: list[Block] = [Paragraph(f"{answer.status[0].upper()}{answer.status[1:]}.", "strong"),
                           Paragraph(answer.reason)]
    if shown is not None:
        forecast = fitted.forecast([shown])[0]
        single = fitted.forecast([shown], new_run=True)[0]
        rows = [("run time, min", "-", *_interval(forecast.run_time_min),
                 f"{number(single.run_time_min.low)} to {number(single.run_time_min.high)}", "-")]
        for a in dossier.job.analytes:
            i, s = forecast.recovery_percent[a.name], single.recovery_percent[a.name]
            rows.append((f"{a.name}, %", f"{a.target_recovery_percent:g}", *_interval(i),
                         f"{number(s.low)} to {number(s.high)}",
                         percent(forecast.analyte_probability[a.name])))
        blocks.append(TableBlock(
            f"Forecast at {setting_words(shown)}: true mean with central 95 % interval, what a "
            "single run may show, and the probability of meeting the target",
            ("quantity", "target", "mean", "95 % interval", "single run, 95 %", "probability"),
            tuple(rows), "lrrrrr", wide=True,
        ))
        caption = "The run as predicted with the learnt parameters (middle vessel position)"
        blocks.append(Figure("predicted-run", caption, caption + ".",
                             figures.run_figure(fitted, shown)))
    sentences = rationale(dossier, fitted, answer)
    if sentences:
        blocks.append(Paragraph("Why this setting", "strong"))
        blocks.append(Bullets(sentences))
    if answer.remedies:
        blocks.append(Paragraph("What would help, worked out with the run model", "strong"))
        blocks.append(Bullets(tuple(r.sentence for r in answer.remedies)))
    return Section("Recommendation", tuple(blocks))


def _interval(interval: object) -> tuple[str, str]:
    values = vars(interval)
    return number(values["mean"]), f"{number(values['low'])} to {number(values['high'])}"


def _region(fitted: Fitted, setting: Setting) -> Section:
    try:
        region = operating_region(fitted, setting)
    except EntryError as error:
        return Section("Operating region", (Paragraph(f"{error.message} {error.cure}"),))
    rows = tuple(
        (factor_words(b.factor), f"{number(b.low)} to {number(b.high)}",
         f"{number(p.low)} to {number(p.high)}")
        for b, p in zip(region.box, region.proven, strict=True)
    )
    found = drifts(fitted, setting)
    return Section("Operating region", (
        Paragraph(
            "The method operable design region is the joint set of settings at which the "
            f"probability is at least {100 * region.assurance:g} % (wording of ICH Q14, check "
            f"your edition); it covers about {percent(region.share)} of the window searched. The "  # noqa: E501
            f"box is the largest one found inside it around the set point: of {region.checked} settings "  # noqa: E501
            f"tried in it the lowest probability was {percent(region.lowest)}. Proven acceptable "
            "ranges move one factor at a time and must not be combined."
        ),
        TableBlock("Box inside the operating region, and proven acceptable ranges",
                   ("factor", "joint box", "one factor at a time"), rows, "lrr"),
        Bullets(tuple(d.sentence for d in found)),
    ))


def _verification(dossier: Dossier, fitted: Fitted) -> Section:
    try:
        found = verify(dossier, fitted)
    except EntryError as error:
        return Section("Verification", (Paragraph(f"{error.message} {error.cure}"),))
    rows = tuple((c.name, c.analyte or "-", c.outcome, c.sentence) for c in found.criteria)
    runs = recorded_runs(dossier, found.plan.setting)
    blocks: list[Block] = [
        Paragraph(f"Decision: {found.decision}. {found.reason}"),
        Paragraph(f"Runs recorded: {len(runs)}. Chance that a method as forecast passes this "
                  f"plan: {percent(found.chance_of_passing)}."),
    ]
    if rows:
        blocks.append(TableBlock("Criteria written before the runs",
                                 ("criterion", "analyte", "outcome", "why"), rows, wide=True))
    return Section("Verification", tuple(blocks))


def _consequences(dossier: Dossier, answer: Answer) -> Section:
    found = consequences(dossier.job, answer.run_time_min.mean)
    rows = (
        ("one batch with handling", f"{number(found.batch_min)} min"),
        ("batches a day", str(found.batches_a_day)),
        ("samples a day", str(found.samples_a_day)),
        ("samples a week", str(found.samples_a_week)),
        ("solvent a week", f"{number(found.solvent_l_a_week)} L"),
        ("condenser emptyings a week", str(found.condenser_emptyings_a_week)),
        ("analyst time a week", f"{number(found.analyst_min_a_week)} min"),
    )
    return Section("What it means for the laboratory", (
        TableBlock("Consequences at full use", ("figure", "value"), rows, "lr"),
        Paragraph(f"Assuming {found.assumption}.", "note"),
    ))


def _uncertainty(dossier: Dossier) -> Section:
    job = dossier.job
    assumed = [*(f"equipment.{n}" for n in job.equipment.assumed),
               *(f"sample.{n}" for n in job.sample.assumed)]
    items = [
        "Intervals are central 95 % credible intervals of the true mean over all vessels and "
        "positions, unless said otherwise; a single run scatters more.",
        "Published losses on concentrating exceed equilibrium; the run model carries an uncertain "
        "factor for it, and trials decide.",
    ]
    if assumed:
        items.append(f"Assumed because the job does not state it: {', '.join(assumed)}.")
    return Section("Uncertainty", (Bullets(tuple(items)),))


def _history(dossier: Dossier) -> Section:
    from experiments.report.content import software_versions

    check = verify_chain(dossier.events)
    rows = tuple(
        (f"#{e.seq}", e.at[:16].replace("T", " "), e.who, e.kind, str(e.payload.get("trial", "-")),
         e.hash[:12])
        for e in dossier.events
    )
    versions = ", ".join(f"{k} {v}" for k, v in software_versions().items())
    return Section("Record and history", (
        Paragraph(
            f"The hash chain over {check.events} events "
            f"{'holds' if check.holds else f'is broken at event {check.first_broken}'}; the last "
            f"hash is {dossier.events[-1].hash}. Seed {dossier.job.seed}; {versions}."
        ),
        TableBlock("History", ("event", "when, UTC", "who", "what", "trial", "hash"), rows,
                   wide=True),
    ))


def _signatures() -> Section:
    return Section("Signatures", (
        Paragraph("The reviewer is somebody other than the author."),
        SignatureLines(("Author", "Reviewer")),
    ))
