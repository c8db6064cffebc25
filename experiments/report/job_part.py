"""Sections on the job: purpose, scope, equipment, sample, analytes and where values come from."""

from __future__ import annotations

import math

from experiments.answers import Interval
from experiments.job import Analyte, EvaporationJob, Sample
from experiments.physics import PhysicsModel
from experiments.report.digits import (
    factor_name,
    factor_unit,
    factor_value,
    figures,
    plain,
    setting_words,
)
from experiments.report.document import (
    Block,
    Bullets,
    Column,
    Facts,
    Notice,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.substance_text import in_print
from experiments.verification import why_it_failed
from experiments.wording import as_asked, percent
from models.errors import ModelError
from models.new_analyte import estimate_new_analyte
from models.properties import describe_substance
from models.system import LiquidSystem
from models.volatility import pressure

ROOM = 298.15  # K


def purpose(g: Gathered) -> Section:
    """What is justified, for what it holds, and what was found, in short."""
    job = g.dossier.job
    blocks: list[Block] = [
        Paragraph(
            f"This report {'justifies' if g.is_recommended else 'tells what was found towards'} "
            f"the setting of {job.equipment.name} for evaporating "
            f"{job.sample.fill_volume_ml:g} mL of {solvents_words(job)} in each of "
            f"{job.equipment.vessels} vessels {end_words(job.sample_at(g.setting))}, so that "
            f"{_analytes_words(job)} and a batch is over quickly."
        ),
        _verdict(g),
        Paragraph("What was found is for this and nothing else:"),
        Bullets(_scope(g)),
    ]
    return Section("purpose", "Purpose and scope", tuple(blocks))


def _verdict(g: Gathered) -> Notice:
    job = g.dossier.job
    words = setting_words(job, g.setting)
    minutes = _time_words(g.shown.run_time_min)
    if not g.is_recommended:
        return Notice("caution", f"No setting is recommended: {g.answer.status}",
                      f"{g.answer.reason} The best setting found, {words}, reaches "
                      f"{percent(g.shown.probability)}.")
    refuted = bool(why_it_failed(g.dossier, g.setting))
    return Notice(
        "caution" if refuted else "answer",
        f"The verification runs speak against it: {words}" if refuted else f"Recommended: {words}",
        f"A run takes {minutes}. The probability that the true mean recovery of every analyte "
        f"that decides meets its target and the run ends in time is "
        f"{percent(g.shown.probability)} (asked: {as_asked(job.limits.assurance)}). "
        f"Verification: {_decision_words(g)}.",
    )


DECISIONS = {"pass": "passed", "fail": "failed", "not enough runs": "not complete"}
"""What came of a verification, as a word after its name."""


def _decision_words(g: Gathered) -> str:
    found = g.verification
    if found.decision == "not enough runs":
        return (
            f"{decision_word(g)}, {len(found.counted)} of {g.plan.criteria.runs} runs count; a "
            f"plan that is kept passes with a chance of {percent(g.plan.chance_of_passing)}"
        )
    return decision_word(g)


def decision_word(g: Gathered) -> str:
    """What came of the verification, which may be of another setting than the one shown."""
    word = DECISIONS[g.verification.decision] if g.runs else "not begun"
    return word if is_of_setting(g) else f"{word} at another setting"


def is_of_setting(g: Gathered) -> bool:
    """Whether the verification is of the setting that this report is about."""
    return g.plan.setting == g.setting


def _time_words(found: Interval) -> str:
    return f"{found.mean:.0f} min (95 % interval of the mean {found.low:.0f} to {found.high:.0f})"


def _scope(g: Gathered) -> tuple[str, ...]:
    job = g.dossier.job
    lines = [
        f"{job.equipment.name} with {job.equipment.vessels} vessels of "
        f"{job.equipment.vessel_capacity_ml:g} mL",
        f"{job.sample.fill_volume_ml:g} mL of {solvents_words(job)} a vessel, "
        f"{job.sample.residue_mg:g} mg of residue or less, sample below "
        f"{job.sample.max_temperature_c:g} °C",
        f"the {len(job.analytes)} analytes listed, spiked at the amounts listed",
    ]
    if g.region is not None:
        lines.append("settings inside the operating region of this report")
    return tuple(lines)


def solvents_words(job: EvaporationJob) -> str:
    """The solvents with their shares."""
    shares = job.sample.solvents
    if len(shares) == 1:
        return shares[0].name
    return " / ".join(f"{s.name} {100 * s.volume_fraction:.3g} %" for s in shares)


def end_words(sample: Sample) -> str:
    """Where a run ends: dryness, a volume, a keeper."""
    keeper = sample.keeper
    held = f"{keeper.volume_ml:g} mL of {keeper.name}" if keeper is not None else ""
    if sample.end_volume_ml > 0.0:
        end = f"down to {sample.end_volume_ml:g} mL ({sample.end_volume_control})"
        return f"with {held} as keeper, {end}" if held else end
    return f"down to {held}" if held else "to dryness"


def _analytes_words(job: EvaporationJob) -> str:
    names = [a.name for a in job.must]
    if len(names) == 1:
        return f"{names[0]} comes back above its target"
    what = " and ".join(names) if len(names) <= 3 else f"{len(names)} analytes"
    return f"{what} come back above their targets"


def equipment(g: Gathered) -> Section:
    """Equipment, factors and sample, assumed values marked."""
    job = g.dossier.job
    e, sample = job.equipment, job.sample

    def mark(part: tuple[str, ...], key: str, text: str) -> str:
        return f"{text} (assumed)" if key in part else text

    own = (
        ("vessels", f"{e.vessels} of {e.vessel_capacity_ml:g} mL"),
        ("rotor", f"{e.relative_centrifugal_force:g} times gravity at {e.rotor_radius_mm:g} mm"),
        ("heating", mark(e.assumed, "heating", e.heating)),
        ("condenser", f"{plain(e.condenser_temperature_c)} °C, {e.condenser_capacity_ml:g} mL, "
         + mark(e.assumed, "condenser_power_w", f"{e.condenser_power_w:g} W")),
        ("pump", mark(e.assumed, "pump_speed_m3_per_h", f"{e.pump_speed_m3_per_h:g} m³/h")
         + f", down to {e.ultimate_pressure_mbar:g} mbar; chamber "
         + mark(e.assumed, "chamber_volume_l", f"{e.chamber_volume_l:g} L")),
        ("ramp", f"from {e.ramp_start_pressure_mbar:g} mbar, linear to the end pressure"),
        ("end of a run", f"condenser load below {100 * e.end_point_load_fraction:g} % of its peak "
         f"for {e.end_point_hold_min:g} min"),
        ("equipment holds", "± " + mark(
            e.assumed, "set_temperature_tolerance_c", f"{e.set_temperature_tolerance_c:g} °C")
         + ", ± " + mark(e.assumed, "end_pressure_tolerance_mbar",
                         f"{e.end_pressure_tolerance_mbar:g} mbar")),
    )
    liquid = (
        ("fill", f"{sample.fill_volume_ml:g} mL of {solvents_words(job)} a vessel"),
        ("keeper", "none" if sample.keeper is None
         else f"{sample.keeper.volume_ml:g} mL {sample.keeper.name} a vessel, on top of the fill"),
        ("end", end_words(sample)),
        ("residue", mark(sample.assumed, "residue_mg", f"{sample.residue_mg:g} mg a vessel")),
        ("sample temperature", f"at most {plain(sample.max_temperature_c)} °C"),
        *((("peroxide test", sample.peroxide_test),) if sample.peroxide_test else ()),
    )
    factors = Table(
        "Factors and the window they were searched in",
        (Column("factor", weight=2), Column("from", "right"), Column("to", "right"),
         Column("step", "right"), Column("unit")),
        rows_of([_factor_row(job, f.name) for f in job.factors]),
    )
    return Section("equipment", "Equipment and sample", (Facts(own), Facts(liquid), factors))


def _factor_row(job: EvaporationJob, name: str) -> list[str]:
    factor = job.factor(name)
    if factor.choices:
        return [factor_name(name), ", ".join(factor.choices), "", "", ""]
    if factor.is_fixed:
        return [factor_name(name), factor_value(job, name, factor.low), "fixed", "–",
                factor_unit(name)]
    return [factor_name(name), plain(factor.low), plain(factor.high), plain(factor.resolution),
            factor_unit(name)]


def substances(g: Gathered) -> Section:
    """Analytes with targets, and the properties behind every forecast with their sources."""
    job = g.dossier.job
    wanted = Table(
        "Analytes, what is asked of them, and the amount spiked in micrograms a vessel",
        (Column("analyte", weight=3), Column("CAS number"), Column("role"),
         Column("target %", "right"), Column("flag above %", "right"),
         Column("spike", "right")),
        rows_of([
            [a.name, a.cas or "–", "decides" if a.role == "must" else "watched",
             f"{a.target_recovery_percent:g}", f"{a.upper_recovery_percent:g}",
             f"{a.spike_ug:g}"] for a in job.analytes
        ]),
        note="Targets are of the true mean over all vessels and positions. An analyte that is "
        "watched is reported but does not constrain the setting.",
    )
    physics = PhysicsModel(job)
    system = physics.system(physics.keepers([g.setting])[0])
    volatility = Table(
        "Vapour pressure of the analytes as liquids at 25 °C",
        (Column("analyte", weight=2), Column("Pa", "right"), Column("within a factor", "right"),
         Column("source", weight=3)),
        rows_of([_volatility_row(system, i, a) for i, a in enumerate(job.analytes)]),
        note="The truth lies within the factor with 95 % probability, activity in the solvent "
        "included; the trials narrow it (section Model fit and diagnostics). Of a solid it is the "
        "pressure of its sub-cooled liquid, which is what a dissolved analyte has.",
    )
    liquids = Table(
        "Solvents and keeper",
        (Column("liquid", weight=2), Column("boils at 1013 mbar, °C", "right"),
         Column("freezes, °C", "right"), Column("source of vapour pressure", weight=3)),
        rows_of([_liquid_row(n) for n in system.solvents]),
    )
    return Section("substances", "Analytes and property sources", (wanted, volatility, liquids))


def _volatility_row(system: LiquidSystem, i: int, analyte: Analyte) -> list[str]:
    at_room = float(pressure(system.analyte_ln_p[i], ROOM))
    factor = math.exp(1.96 * float(system.analyte_ln_volatility_sd[i]))
    return [analyte.name, figures(at_room, 2), figures(factor, 2), in_print(_source(analyte))]


def _source(analyte: Analyte) -> str:
    """Where the vapour pressure of an analyte comes from."""
    from experiments.analyte_data import analyte_si

    try:
        if analyte.is_new:
            return f"from the job: {estimate_new_analyte(analyte_si(analyte)).source}"
        return str(describe_substance(analyte.cas or analyte.name)["vapour_pressure_source"])
    except ModelError as error:
        return error.message


def _liquid_row(name: str) -> list[str]:
    try:
        found = describe_substance(name)
    except ModelError as error:
        return [name, "–", "–", error.message]
    freezing = found["freezing_point_c"]
    boiling = found["normal_boiling_point_c"]
    return [
        str(found["name"]), figures(float(str(boiling))) if boiling is not None else "–",
        figures(float(str(freezing))) if freezing is not None else "–",
        in_print(str(found["vapour_pressure_source"])),
    ]
