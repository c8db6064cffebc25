"""Reading a job from TOML, a file or a mapping; every fault is reported at once.

What a job need not say takes the default of its field in :mod:`experiments.job`.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from experiments.job import (
    EXTRA_FACTORS,
    MAIN_FACTORS,
    Analyte,
    BoilingPoint,
    Equipment,
    EvaporationJob,
    Factor,
    Keeper,
    Limits,
    Sample,
    Setting,
    SolventShare,
    VapourPressurePoint,
)
from experiments.job_fields import Fault, Faults, Number, Table, read_number
from models.errors import WholeError

__all__ = ["Fault", "JobError", "parse"]

POSITIVE = Number(0.0, 1e6, above=True)
FILL = Number(1e-3, 1e6, unit="mL")
CHAMBER = Number(1e-3, 1e6, unit="L")
NOT_NEGATIVE = Number(0.0, 1e6)
TEMPERATURE = Number(-100.0, 300.0, unit="degC")
PERCENT = Number(0.0, 100.0, above=True, unit="percent")
SHARE = Number(0.0, 1.0, above=True)
MOLAR_MASS = Number(10.0, 5000.0, unit="g/mol")
FACTOR_RULES = {
    "set_temperature_c": Number(-20.0, 200.0, unit="degC"),
    "ramp_rate_mbar_per_min": Number(1e-3, 1e4, unit="mbar/min"),
    "end_pressure_mbar": Number(1e-3, 1100.0, unit="mbar"),
    "keeper_volume_ml": POSITIVE,
    "end_volume_ml": NOT_NEGATIVE,
    "end_point_hold_min": Number(0.0, 600.0, unit="min"),
}
MAX_FILE_BYTES = 1_000_000
EMPTY = Fault("job", "is empty.", "Give a job file; the examples show what it holds.")


class JobError(WholeError, ValueError):
    """A job that cannot be used; ``faults`` lists every reason with its cure."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(str(f) for f in faults))
        self.faults = faults


def parse(
    source: str | Path | Mapping[str, Any], *, chemistry: bool = True
) -> EvaporationJob:
    """Read a job.

    Parameters
    ----------
    source : path of a TOML file, TOML text (anything with a line break), or a mapping
    chemistry : whether to check substances and fields against each other; a job that was
        accepted before is read back without, so that it opens for good

    Raises
    ------
    JobError
        with every fault of the job
    """
    faults = Faults()
    top = Table(_mapping(source), "", faults)
    title = top.text("title")
    if not title.strip() and not faults.at("title"):
        faults.add("title", "is empty.", "Say in a few words what the job is.")
    seed = top.number("seed", Number(0, 2**31 - 1, whole=True))
    equipment = _equipment(top.table("equipment"))
    sample = _sample(top.table("sample"))
    factors = _factors(top.table("factors"))
    analytes = tuple(_analyte(t) for t in top.tables("analytes"))
    limits = _limits(top.table("limits"))
    today = _today(top, factors) if top.has("today") else None
    top.finish()
    if not analytes and not faults.at("analytes"):
        faults.add("analytes", "is empty.", "Add at least one analyte with its target.")
    job = EvaporationJob(
        title, _whole(seed), equipment, factors, sample, analytes, limits, today
    )
    if chemistry:
        from experiments.job_checks import check_job

        check_job(job, faults)
    if faults.found:
        raise JobError(tuple(faults.found))
    return job


def _mapping(source: str | Path | Mapping[str, Any]) -> Mapping[str, Any]:
    if isinstance(source, Mapping):
        return source
    try:
        if isinstance(source, Path) or "\n" not in source:
            path = Path(source)
            if path.stat().st_size > MAX_FILE_BYTES:
                raise JobError((Fault("job", "is larger than 1 MB.", "Give a job file."),))
            text = path.read_bytes().decode("utf-8-sig")
        else:
            text = source
        if not text.strip():
            raise JobError((EMPTY,))
        return tomllib.loads(text)
    except (OSError, TypeError, ValueError, RecursionError) as error:
        if isinstance(error, JobError):
            raise
        raise JobError((_unreadable(error, source),)) from error


def _unreadable(error: Exception, source: str | Path) -> Fault:
    name = str(source)[:120].splitlines()[0] if str(source) else ""
    if isinstance(error, IsADirectoryError) and name:
        return Fault("job", f"{name!r} is a folder.", "Give the job file in it.")
    if isinstance(error, FileNotFoundError):
        return Fault("job", f"there is no file {name!r}.", "Check its path.")
    if isinstance(error, OSError):
        return Fault("job", f"the file {name!r} cannot be read.", "Check its path and rights.")
    if isinstance(error, TypeError):
        return Fault("job", f"{name[:40]!r} is no job.", "Give a path, TOML text or a mapping.")
    if isinstance(error, UnicodeDecodeError):
        return Fault("job", "the file is not UTF-8 text.", "Save it as UTF-8 text.")
    return Fault("job", f"is not valid TOML ({error}).", "Mend the line it names.")


def _equipment(t: Table) -> Equipment:
    equipment = Equipment(
        name=t.text("name"),
        vessels=_whole(t.number("vessels", Number(1, 500, whole=True))),
        vessel_capacity_ml=t.number("vessel_capacity_ml", POSITIVE),
        relative_centrifugal_force=t.number(
            "relative_centrifugal_force", Number(0.0, 5000.0, above=True, unit="g")
        ),
        rotor_radius_mm=t.number("rotor_radius_mm", Number(0.0, 2000.0, above=True, unit="mm")),
        condenser_temperature_c=t.number(
            "condenser_temperature_c", Number(-200.0, 40.0, unit="degC")
        ),
        condenser_capacity_ml=t.number("condenser_capacity_ml", POSITIVE),
        ramp_start_pressure_mbar=t.number(
            "ramp_start_pressure_mbar", Number(0.0, 1100.0, above=True, unit="mbar")
        ),
        ultimate_pressure_mbar=t.number(
            "ultimate_pressure_mbar", Number(0.0, 500.0, above=True, unit="mbar")
        ),
        end_point_load_fraction=t.number("end_point_load_fraction", Number(0.0, 0.9, above=True)),
        end_point_hold_min=t.number("end_point_hold_min", Number(0.0, 600.0, unit="min")),
        heating=t.text("heating", Equipment.heating, ("contact", "gas gap")),
        condenser_power_w=t.number("condenser_power_w", POSITIVE, Equipment.condenser_power_w),
        pump_speed_m3_per_h=t.number(
            "pump_speed_m3_per_h", POSITIVE, Equipment.pump_speed_m3_per_h
        ),
        chamber_volume_l=t.number("chamber_volume_l", CHAMBER, Equipment.chamber_volume_l),
        set_temperature_tolerance_c=t.number(
            "set_temperature_tolerance_c", Number(0.0, 20.0, unit="K"),
            Equipment.set_temperature_tolerance_c,
        ),
        end_pressure_tolerance_mbar=t.number(
            "end_pressure_tolerance_mbar", Number(0.0, 200.0, unit="mbar"),
            Equipment.end_pressure_tolerance_mbar,
        ),
    )
    t.finish()
    return replace(equipment, assumed=tuple(sorted(t.assumed)))


def _whole(value: float) -> int:
    return 0 if math.isnan(value) else int(value)


def _sample(t: Table) -> Sample:
    fill = t.number("fill_volume_ml", FILL)
    solvents = []
    for row in t.tables("solvents"):
        solvents.append(SolventShare(row.text("name"), row.number("volume_fraction", SHARE)))
        row.finish()
    if t.has("solvents") and not solvents and not t.faults.at(t.where("solvents")):
        t.faults.add(t.where("solvents"), "is empty.", "Add at least one solvent.")
    keeper = None
    if t.has("keeper"):
        row = t.table("keeper")
        keeper = Keeper(row.text("name"), row.number("volume_ml", POSITIVE))
        row.finish()
    controls = ("", "cold tip", "weighing", "time")
    sample = Sample(
        fill_volume_ml=fill,
        solvents=tuple(solvents),
        max_temperature_c=t.number("max_temperature_c", Number(0.0, 250.0, unit="degC")),
        keeper=keeper,
        end_volume_ml=t.number("end_volume_ml", NOT_NEGATIVE),
        end_volume_control=t.text("end_volume_control", Sample.end_volume_control, controls),
        residue_mg=t.number("residue_mg", NOT_NEGATIVE, Sample.residue_mg),
        peroxide_test=t.text("peroxide_test", Sample.peroxide_test),
        assumed=tuple(sorted(t.assumed)),
    )
    t.raw("keeper")
    t.finish()
    return sample


def _factors(t: Table) -> tuple[Factor, ...]:
    factors = []
    for name in MAIN_FACTORS:
        if t.has(name):
            factors.append(_factor(t, name))
        else:
            t.number(name, NOT_NEGATIVE)
    factors += [_factor(t, name) for name in EXTRA_FACTORS if t.has(name)]
    for name in EXTRA_FACTORS:
        t.raw(name)
    t.finish()
    return tuple(factors)


def _factor(t: Table, name: str) -> Factor:
    value = t.raw(name)
    if name == "keeper":
        return _choice(t, value)
    rule = FACTOR_RULES[name]
    if not isinstance(value, Mapping):
        number = read_number(value, t.where(name), rule, t.faults)
        return Factor(name, number, number)
    row = Table(value, t.where(name), t.faults)
    low, high = row.number("low", rule), row.number("high", rule)
    step = row.number("step", POSITIVE, math.nan) if row.has("step") else None
    row.raw("step")
    row.finish()
    if low > high:
        t.faults.add(row.where("low"), f"is {low:g}, above high = {high:g}.", "Swap them.")
    elif step is not None and step > high - low:
        t.faults.add(row.where("step"), f"is {step:g}, wider than the range.",
                     "Make it smaller or give one fixed number.")
    return Factor(name, low, high, step)


def _choice(t: Table, value: Any) -> Factor:
    if isinstance(value, str):
        if not value.strip():
            t.faults.add(t.where("keeper"), "is empty.", "Name the keeper, or leave the key out.")
        return Factor("keeper", choices=(value,))
    row = Table(value, t.where("keeper"), t.faults)
    choices = row.raw("choices")
    row.finish()
    given = choices if isinstance(choices, list | tuple) else ()
    names = tuple(dict.fromkeys(c for c in given if isinstance(c, str) and c.strip()))
    if not names or len(names) < len(given):
        t.faults.add(row.where("choices"), "must be a list of different keeper names.",
                     'Write choices = ["n-nonane", "n-dodecane"].')
    return Factor("keeper", choices=names or ("",))


def _analyte(t: Table) -> Analyte:
    points = []
    for row in t.tables("vapour_pressure") if t.has("vapour_pressure") else []:
        points.append(VapourPressurePoint(
            row.number("temperature_c", TEMPERATURE), row.number("pressure_pa", POSITIVE)
        ))
        row.finish()
    boiling = None
    if t.has("boiling_point"):
        row = t.table("boiling_point")
        boiling = BoilingPoint(
            row.number("temperature_c", Number(-100.0, 700.0, unit="degC")),
            row.number("pressure_mbar", Number(0.0, 2e4, above=True, unit="mbar"),
                       BoilingPoint.pressure_mbar),
        )
        row.finish()
        t.assumed += [f"boiling_point.{key}" for key in row.assumed]
    molar = t.number("molar_mass_g_per_mol", MOLAR_MASS) if t.has("molar_mass_g_per_mol") else None
    for key in ("vapour_pressure", "boiling_point", "molar_mass_g_per_mol"):
        t.raw(key)
    analyte = Analyte(
        name=t.text("name"),
        target_recovery_percent=t.number("target_recovery_percent", PERCENT),
        cas=t.text("cas", Analyte.cas),
        upper_recovery_percent=t.number(
            "upper_recovery_percent", POSITIVE, Analyte.upper_recovery_percent),
        spike_ug=t.number("spike_ug", POSITIVE, Analyte.spike_ug),
        role=t.text("role", Analyte.role, ("must", "watch")),
        molar_mass_g_per_mol=molar,
        vapour_pressure=tuple(points),
        boiling_point=boiling,
        smiles=t.text("smiles", Analyte.smiles),
    )
    t.finish()
    return replace(analyte, assumed=tuple(sorted(t.assumed)))


def _limits(t: Table) -> Limits:
    limits = Limits(
        max_run_time_min=t.number("max_run_time_min", Number(0, 1e4, above=True, unit="min")),
        handling_min=t.number(
            "handling_min", Number(0.0, 1e4, unit="min"), Limits.handling_min),
        assurance=t.number("assurance", Number(0.5, 0.999)),
        trials=_whole(t.number("trials", Number(1, 200, whole=True))),
        trials_per_batch=_whole(t.number("trials_per_batch", Number(1, 50, whole=True))),
    )
    t.finish()
    return replace(limits, assumed=tuple(sorted(t.assumed)))


def _today(top: Table, factors: tuple[Factor, ...]) -> Setting:
    table = top.table("today")
    setting = read_setting(table.table("setting"), factors)
    table.finish()
    return setting


def read_setting(t: Table, factors: tuple[Factor, ...]) -> Setting:
    """A setting for every factor; fixed factors may be left out. It may lie outside bounds."""
    setting: Setting = {}
    for factor in factors:
        if factor.is_fixed and not t.has(factor.name):
            t.raw(factor.name)
            setting[factor.name] = factor.first_value
        elif factor.choices:
            setting[factor.name] = t.text(factor.name, choices=factor.choices)
        else:
            setting[factor.name] = t.number(factor.name, FACTOR_RULES[factor.name])
    t.finish()
    return setting


def check_possible(job: EvaporationJob, setting: Setting, path: str, faults: Faults) -> None:
    """Add the faults of a setting that no run can have: its ramp, or its volumes."""
    start, end = job.equipment.ramp_start_pressure_mbar, float(setting["end_pressure_mbar"])
    if end >= start:
        faults.add(f"{path}.end_pressure_mbar",
                   f"is {end:g} mbar, not below the start of the ramp at {start:g} mbar.",
                   "Correct the end pressure.")
    if "keeper_volume_ml" in setting or "end_volume_ml" in setting:
        _check_volumes(job, job.sample_at(setting), path, faults)


def _check_volumes(job: EvaporationJob, sample: Sample, path: str, faults: Faults) -> None:
    keeper = 0.0 if sample.keeper is None else sample.keeper.volume_ml
    fill, end = sample.fill_volume_ml, sample.end_volume_ml
    if fill + keeper > job.equipment.vessel_capacity_ml:
        faults.add(f"{path}.keeper_volume_ml",
                   f"is {keeper:g} mL, which with the fill of {fill:g} mL is above the vessel's "
                   f"{job.equipment.vessel_capacity_ml:g} mL.", "Correct the keeper volume.")
    if end >= fill:
        faults.add(f"{path}.end_volume_ml", f"is {end:g} mL, not below the fill of {fill:g} mL.",
                   "Correct the end volume.")
    elif 0.0 < end <= keeper:
        faults.add(f"{path}.end_volume_ml",
                   f"is {end:g} mL, not above the keeper's {keeper:g} mL.",
                   "Give 0 for down to the keeper, or an end volume above it.")
