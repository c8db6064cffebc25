"""Sections on what was asked: purpose, equipment, sample, analytes, physics window."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from experiments.authorisation import job_cautions
from experiments.dossier import Dossier
from experiments.report import figures
from experiments.report.blocks import Bullets, Figure, Paragraph, Section, TableBlock
from experiments.report.words import factor_words, number, value_words
from experiments.window import window_limits, window_map

if TYPE_CHECKING:
    from experiments.fitted import Fitted


def build(dossier: Dossier, fitted: Fitted) -> tuple[Section, ...]:
    """The sections in order."""
    return (
        _purpose(dossier), _cautions(dossier), _equipment(dossier), _sample(dossier),
        _analytes(dossier, fitted), _window(dossier, fitted),
    )


def _purpose(dossier: Dossier) -> Section:
    job = dossier.job
    solvents = " and ".join(s.name for s in job.sample.solvents)
    keeper = job.sample.keeper
    end = "to dryness"
    if job.sample.end_volume_ml > 0:
        end = f"to {job.sample.end_volume_ml:g} mL ({job.sample.end_volume_control})"
    elif keeper is not None:
        end = f"down to {keeper.volume_ml:g} mL of {keeper.name}"
    must = ", ".join(f"{a.name} ({a.target_recovery_percent:g} %)" for a in job.must)
    watch = ", ".join(a.name for a in job.analytes if a.role == "watch")
    text = (
        f"This dossier finds the fastest setting that evaporates {job.sample.fill_volume_ml:g} mL "
        f"of {solvents} in each of {job.equipment.vessels} vessels {end}, such that with a "
        f"probability of at least {100 * job.limits.assurance:g} % the true mean recovery of "
        f"every required analyte meets its target: {must or 'none'}."
    )
    if watch:
        text += f" Reported without constraining the choice: {watch}."
    scope = (
        f"The result holds for this equipment, fill, matrix ({job.sample.residue_mg:g} mg residue "
        f"a vessel) and spike level; a run longer than {job.limits.max_run_time_min:g} min is "
        f"given up, and the sample must stay below {job.sample.max_temperature_c:g} degC."
    )
    return Section("Purpose and scope", (Paragraph(text), Paragraph(scope)))


def _cautions(dossier: Dossier) -> Section:
    found = job_cautions(dossier.job)
    blocks = [Paragraph(f"{f.message} {f.cure}".strip(), "caution") for f in found]
    blocks.append(Paragraph(
        "Follow the equipment's manual, local codes and the laboratory's licensed safety "
        "practice: full speed before vacuum, vent before slowing, and never more condensate than "
        "the condenser holds. This tool advises; the analyst decides."
    ))
    return Section("Cautions", tuple(blocks))


def _equipment(dossier: Dossier) -> Section:
    e = dossier.job.equipment
    facts = (
        ("vessels", f"{e.vessels} of {e.vessel_capacity_ml:g} mL", "vessels"),
        ("heating", e.heating, "heating"),
        ("relative centrifugal force", f"{e.relative_centrifugal_force:g} g at "
         f"{e.rotor_radius_mm:g} mm", "relative_centrifugal_force"),
        ("condenser", f"{e.condenser_temperature_c:g} degC, {e.condenser_capacity_ml:g} mL",
         "condenser_temperature_c"),
        ("condenser power", f"{e.condenser_power_w:g} W", "condenser_power_w"),
        ("pump", f"{e.pump_speed_m3_per_h:g} m3/h, down to {e.ultimate_pressure_mbar:g} mbar",
         "pump_speed_m3_per_h"),
        ("chamber", f"{e.chamber_volume_l:g} L", "chamber_volume_l"),
        ("ramp starts at", f"{e.ramp_start_pressure_mbar:g} mbar", "ramp_start_pressure_mbar"),
        ("end point", f"load below {100 * e.end_point_load_fraction:g} % of its peak for "
         f"{e.end_point_hold_min:g} min", "end_point_load_fraction"),
        ("held within", f"{e.set_temperature_tolerance_c:g} K and "
         f"{e.end_pressure_tolerance_mbar:g} mbar", "set_temperature_tolerance_c"),
    )
    rows = tuple(
        (name, value, "assumed" if key in e.assumed else "stated") for name, value, key in facts
    )
    factors = tuple(
        (factor_words(f.name),
         ", ".join(f.choices) if f.choices else f"{f.low:g}" if f.is_fixed
         else f"{f.low:g} to {f.high:g}",
         "fixed" if f.is_fixed else "choice" if f.choices else f"step {f.resolution:g}")
        for f in dossier.job.factors
    )
    return Section("Equipment and factors", (
        TableBlock(f"Equipment: {e.name}", ("property", "value", "origin"), rows),
        TableBlock("Factors and the window searched", ("factor", "range", "resolution"), factors),
    ))


def _sample(dossier: Dossier) -> Section:
    s = dossier.job.sample
    rows = [(share.name, f"{100 * share.volume_fraction:g} % by volume",
             number(share.volume_fraction * s.fill_volume_ml) + " mL") for share in s.solvents]
    if s.keeper is not None:
        rows.append((s.keeper.name, "keeper, on top of the fill", f"{s.keeper.volume_ml:g} mL"))
    blocks = [TableBlock("Fill of one vessel", ("liquid", "share", "volume"), tuple(rows), "llr")]
    if s.peroxide_test:
        return Section("Sample", (*blocks, Paragraph(f"Peroxide test: {s.peroxide_test}")))
    return Section("Sample", tuple(blocks))


def _analytes(dossier: Dossier, fitted: Fitted) -> Section:
    system = fitted.simulator.physics.system(fitted.simulator.physics.keepers(
        [fitted.candidates[0]])[0])
    rows = []
    for i, a in enumerate(dossier.job.analytes):
        c, t = system.analyte_ln_p[i], 298.15


        pressure = math.exp(c[0] + c[1] / t + c[2] * math.log(t) + c[3] * t)
        spread = math.exp(1.96 * float(fitted.simulator.volatility_sd[i]))
        rows.append((
            a.name, a.cas or "-", f"{a.target_recovery_percent:g}", a.role, f"{a.spike_ug:g}",
            number(pressure), f"{spread:.2g}",
            "data sheet in the job" if a.is_new else "property library",
        ))
    blocks: list[Paragraph | TableBlock | Bullets] = [TableBlock(
        "Analytes: vapour pressure of the (sub-cooled) liquid at 25 degC; the truth of the "
        "volatility in solution lies within the factor with 95 % probability before any trial",
        ("analyte", "CAS", "target, %", "role", "spike, ug", "P, Pa", "factor", "origin"),
        tuple(rows), "llrlrrrl", wide=True,
    )]
    found = fitted.simulator.physics.findings
    if found:
        blocks.append(Bullets(tuple(f"{f.message} {f.cure}".strip() for f in found)))
    return Section("Analytes and property sources", tuple(blocks))


def _window(dossier: Dossier, fitted: Fitted) -> Section:
    limits = window_limits(dossier.job)
    rows = tuple((x.name, x.where, x.reason) for x in limits)
    answer = dossier.recommend()
    shown = answer.setting or (answer.compromise.setting if answer.compromise else None)
    ramp = dossier.job.factor("ramp_rate_mbar_per_min")
    at = float(shown["ramp_rate_mbar_per_min"]) if shown else 0.5 * (ramp.low + ramp.high)
    found = window_map(fitted, at)
    caption = (
        f"Probability of meeting every target over set temperature and end pressure at a ramp of "
        f"{value_words(at)} mbar/min, after the recorded trials; numbers are expected run "
        "times in minutes"
    )
    return Section("Physics window", (
        TableBlock("Limits of the window and the numbers behind them",
                   ("limit", "where", "reason"), rows),
        Figure("operating-map", caption, caption + ".",
               figures.operating_map(found, fitted, answer.setting)),
    ))
