"""Sections on what physics allows and on how the trials were chosen."""

from __future__ import annotations

from experiments.job import Setting
from experiments.report.digits import (
    NONE,
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
    Figure,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.maps import operating_map, predicted_run_chart
from experiments.report.records import record_by_trial
from experiments.substance_text import in_print
from experiments.trials import Trial
from experiments.wording import percent, portion


def window(g: Gathered) -> Section:
    """The limits before any trial, with their numbers, and the map with what is known now."""
    limits = Table(
        "Limits of the window, worked out before any trial",
        (Column("limit"), Column("where", weight=2), Column("reason", weight=4)),
        rows_of([[x.name, printed(x.where), printed(x.reason)] for x in g.limits]),
    )
    blocks: list[Block] = [limits, _before_and_after(g)]
    if g.map is not None:
        ramp = factor_value(
            g.dossier.job, "ramp_rate_mbar_per_min", g.map.ramp_rate_mbar_per_min)
        low, high = g.map.end_pressure_mbar[0], g.map.end_pressure_mbar[-1]
        drawn = ((g.map.boiling_line >= low) & (g.map.boiling_line <= high)).sum() > 1
        boils = (" The dashed line is where the fill just boils at the wall temperature; above it "
                 "nothing dries." if drawn else "")
        blocks.append(Figure(
            "Operating map after the trials: probability of meeting every target at a ramp rate "
            f"of {ramp} mbar/min. Dots are trials (at their own ramp rates), the diamond is the "
            f"set point.{boils}",
            operating_map(g.map, g.dossier.job.limits.assurance, g.setting, _shown_trials(g),
                          g.region),
            _map_words(g),
        ))
    blocks.append(Figure(
        "One run predicted at the set point, with the mean parameters learnt from the trials",
        predicted_run_chart(g.trace["trace"]), _run_words(g)))
    if g.trace["findings"]:
        blocks.append(Bullets(tuple(printed(f) for f in g.trace["findings"])))
    if g.findings:
        blocks.append(Paragraph("What the forecasts had to do without, and what settles it:"))
        blocks.append(Bullets(tuple(printed(in_print(f.sentence))
                                    for f in g.findings)))
    return Section("window", "Physics window", tuple(blocks))


def _before_and_after(g: Gathered) -> Table:
    """What physics alone forecast at the set point, and what the trials made of it."""
    job = g.dossier.job
    rows = [["run time, min", interval(g.before.run_time_min), interval(g.shown.run_time_min)]]
    rows += [[f"{a.name}, %", interval(g.before.recovery_percent[a.name]),
              interval(g.shown.recovery_percent[a.name])] for a in job.analytes]
    rows.append(["every target met in time", percent(g.before.probability),
                 percent(g.shown.probability)])
    return Table(
        "Forecast at the set point from physics alone, before any trial, and after the trials",
        (Column("", weight=3), Column("before any trial", "right", 2),
         Column("after the trials", "right", 2)),
        rows_of(rows), size="small" if len(rows) > 14 else "normal",
        note="True means with 95 % intervals; in the last row the probability.",
    )


def _shown_trials(g: Gathered) -> list[Trial]:
    return [t for t in g.dossier.trials if t.result is not None]


def _map_words(g: Gathered) -> str:
    if g.map is None:
        return ""
    share = float((g.map.probability >= g.dossier.job.limits.assurance).mean())
    return (
        f"Map of set temperature against end pressure. {portion(share)} of the map reaches the "
        f"asked assurance. The set point is {setting_words(g.dossier.job, g.setting)}."
    )


def _run_words(g: Gathered) -> str:
    trace = g.trace["trace"]
    ends = g.trace["run_time_min"]
    end = f"ends after {ends:.0f} min" if ends is not None else "does not end in time"
    return (
        f"Pressure, liquid temperature, volume and condenser load against time. The run {end}; "
        f"the condenser load peaks at {g.trace['peak_condenser_load_w']:.0f} W and the liquid "
        f"reaches {value(max(trace['liquid_temperature_c']), 0)} °C at most."
    )


def design(g: Gathered) -> Section:
    """How trials were chosen, each with its reason and what was expected of it."""
    job = g.dossier.job
    proposed = [t for t in g.dossier.trials if t.origin == "proposed"]
    own = [t for t in g.dossier.trials if t.origin != "proposed"]
    how = (
        "the one whose result is expected to take most minutes off the recommended run time, "
        "given everything known and the trials still running; the expectation looks one trial "
        "ahead over draws of the parameters that agree with the results so far (seed "
        f"{job.seed})"
    )
    if proposed:
        text = (
            f"Trials were chosen in batches of up to {job.limits.trials_per_batch} from a budget "
            f"of {job.limits.trials}. A proposed trial is {how}. {len(proposed)} of "
            f"{len(g.dossier.trials)} trials were proposed this way, {len(own)} entered by the "
            "analyst or taken from the method in use."
        )
    else:
        text = (
            "No trial was proposed by the software: the analyst chose them, or they are the "
            "method in use. The fit treats them like any other trials."
        )
    created = record_by_trial(g.dossier, "proposed", "entered")
    rows: list[list[str | Cell]] = [
        [Cell(t.id, created[t.id]), _short_setting(g, t.setting),
         _expected(t.run_time_min), t.reason]
        for t in g.dossier.trials
    ]
    table = Table(
        "Trials in order of creation, with the reason given when each was chosen",
        (Column("trial"), Column(_setting_head(g)), Column("expected min", "right"),
         Column("reason", weight=3)),
        rows_of(rows), size="small",
    )
    return Section("design", "Design and why", (Paragraph(text), table))


def _setting_head(g: Gathered) -> str:
    return " / ".join(
        factor_unit(f.name) or f.name for f in g.dossier.job.factors if not f.is_fixed
    )


def _short_setting(g: Gathered, setting: Setting) -> str:
    """The free factors of a setting, in the order of the head; an earlier job may lack one."""
    return " / ".join(
        factor_value(g.dossier.job, f.name, setting[f.name]) if f.name in setting else NONE
        for f in g.dossier.job.factors if not f.is_fixed
    )


def _expected(forecast: dict[str, float]) -> str:
    if not forecast:
        return "–"
    low, high = value(forecast["low"], 0), value(forecast["high"], 0)
    return f"{value(forecast['mean'], 0)} ({low}–{high})"
