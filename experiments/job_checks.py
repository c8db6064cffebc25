"""Checks that need more than one field of a job, or the chemistry of its substances."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from experiments.job import EvaporationJob
from experiments.job_fields import Faults
from models.cautions import is_peroxide_former
from models.errors import ModelError, UnknownSubstance
from models.mixture import bubble_point, build_system
from models.quantities import celsius, pascal
from models.substances import find_substance



def check_job(job: EvaporationJob, faults: Faults) -> None:
    """Add every fault that single fields do not show."""
    _check_volumes(job, faults)
    _check_pressures(job, faults)
    _check_analytes(job, faults)
    _check_substances(job, faults)
    if not faults.found:
        _check_boiling(job, faults)


def _check_volumes(job: EvaporationJob, faults: Faults) -> None:
    sample, capacity = job.sample, job.equipment.vessel_capacity_ml
    keeper = _largest(job, "keeper_volume_ml", sample.keeper.volume_ml if sample.keeper else 0.0)
    total = sample.fill_volume_ml + keeper
    if total > capacity:
        what = f"{total:g} mL with the keeper" if keeper else f"{total:g} mL"
        faults.add("sample.fill_volume_ml", f"is {what}, above the vessel's {capacity:g} mL.",
                   "Fill less or use larger vessels.")
    shares = sum(s.volume_fraction for s in sample.solvents)
    if abs(shares - 1.0) > 1e-6:
        faults.add("sample.solvents", f"volume fractions add to {shares:g}, not to 1.",
                   "Correct them so that they add to 1.")
    end = _largest(job, "end_volume_ml", sample.end_volume_ml)
    if end >= sample.fill_volume_ml:
        faults.add("sample.end_volume_ml", f"is {end:g} mL, not below the fill.",
                   "Give a smaller end volume.")
    if end > 0 and not sample.end_volume_control:
        faults.add("sample.end_volume_control", "is needed when the end volume is above 0.",
                   'Say how it is held: "cold tip", "weighing" or "time".')
    if sample.keeper is None:
        for name in ("keeper", "keeper_volume_ml"):
            if any(f.name == name for f in job.factors):
                faults.add(f"factors.{name}", "needs a keeper in the sample.",
                           'Add keeper = { name = "n-dodecane", volume_ml = 1.0 } to [sample].')
    names = [s.name.casefold() for s in sample.solvents]
    if len(set(names)) < len(names):
        faults.add("sample.solvents", "names a solvent twice.", "Merge the two rows.")


def _largest(job: EvaporationJob, factor: str, otherwise: float) -> float:
    return next((f.high for f in job.factors if f.name == factor), otherwise)


def _check_pressures(job: EvaporationJob, faults: Faults) -> None:
    equipment, end = job.equipment, job.factor("end_pressure_mbar")
    if end.high >= equipment.ramp_start_pressure_mbar:
        faults.add(
            "factors.end_pressure_mbar",
            f"reaches {end.high:g} mbar, not below the start of the ramp at "
            f"{equipment.ramp_start_pressure_mbar:g} mbar.",
            "Lower the end pressure or raise equipment.ramp_start_pressure_mbar.",
        )
    if end.low < equipment.ultimate_pressure_mbar:
        faults.add(
            "factors.end_pressure_mbar",
            f"starts at {end.low:g} mbar, below the pump's ultimate pressure of "
            f"{equipment.ultimate_pressure_mbar:g} mbar.",
            "Raise the lower bound.",
        )


def _check_analytes(job: EvaporationJob, faults: Faults) -> None:
    seen: set[str] = set()
    for i, analyte in enumerate(job.analytes):
        path = f"analytes[{i}]"
        if not analyte.name.strip():
            faults.add(f"{path}.name", "is empty.", "Name the analyte.")
        if analyte.name.casefold() in seen:
            faults.add(f"{path}.name", f"{analyte.name!r} is listed twice.", "Remove one of them.")
        seen.add(analyte.name.casefold())
        if analyte.upper_recovery_percent <= analyte.target_recovery_percent:
            faults.add(f"{path}.upper_recovery_percent", "is not above the target.",
                       "Give a higher value.")
        if analyte.is_new and not analyte.smiles and analyte.molar_mass_g_per_mol is None:
            faults.add(f"{path}.molar_mass_g_per_mol", "is missing for a new analyte.",
                       "Add the molar mass from its data sheet.")
        if analyte.cas and not _cas_is_valid(analyte.cas):
            faults.add(f"{path}.cas", f"{analyte.cas!r} is not a valid CAS number.",
                       "Check its digits; the last one is a check digit.")


def _cas_is_valid(cas: str) -> bool:
    """Whether a CAS Registry Number has the right form and check digit."""
    if not re.fullmatch(r"[1-9]\d{1,6}-\d\d-\d", cas):
        return False
    digits = cas.replace("-", "")
    total = sum(int(d) * (i + 1) for i, d in enumerate(reversed(digits[:-1])))
    return total % 10 == int(digits[-1])


def _check_substances(job: EvaporationJob, faults: Faults) -> None:
    sample = job.sample
    for i, share in enumerate(sample.solvents):
        _known(share.name, f"sample.solvents[{i}].name", faults)
    if sample.keeper is not None:
        _known(sample.keeper.name, "sample.keeper.name", faults)
    for factor in job.factors:
        for i, choice in enumerate(factor.choices):
            _known(choice, f"factors.keeper.choices[{i}]", faults)
    for i, analyte in enumerate(job.analytes):
        if not analyte.is_new:
            _known(analyte.cas or analyte.name, f"analytes[{i}].name", faults,
                   analyte.name if analyte.cas else None)
    if sample.end_volume_ml == 0 and sample.keeper is None and not sample.peroxide_test:
        for i, share in enumerate(sample.solvents):
            if is_peroxide_former(share.name):
                faults.add(
                    f"sample.solvents[{i}].name",
                    f"{share.name} forms peroxides, which may explode when it is dried.",
                    "Give sample.peroxide_test (value and date), a keeper or an end volume.",
                )


def _known(name: str, path: str, faults: Faults, fallback: str | None = None) -> None:
    try:
        find_substance(name)
    except UnknownSubstance as error:
        if fallback is not None:
            _known(fallback, path, faults)
            return
        faults.add(path, error.message, error.cure)


def _check_boiling(job: EvaporationJob, faults: Faults) -> None:
    """The solvent must boil somewhere in the window, and before the keeper."""
    sample, pressure = job.sample, job.factor("end_pressure_mbar").low
    hottest = job.factor("set_temperature_c").high
    solvents = [(s.name, s.volume_fraction) for s in sample.solvents]
    boils = _at(faults, lambda: _boiling_c(solvents, pressure))
    if boils is None:
        return
    if boils >= hottest:
        faults.add(
            "factors.set_temperature_c",
            f"reaches {hottest:g} degC, but the solvent boils only above {boils:.0f} degC even at "
            f"{pressure:g} mbar, so it cannot boil anywhere in the window.",
            "Raise the set temperature or lower the end pressure.",
        )
    keepers = [sample.keeper.name] if sample.keeper else []
    keepers += [c for f in job.factors for c in f.choices]
    for keeper in dict.fromkeys(keepers):
        other = _at(faults, lambda name=keeper: _boiling_c([(name, 1.0)], pressure))
        if other is not None and other <= boils:
            faults.add(
                "sample.keeper.name",
                f"{keeper} boils at {other:.0f} degC at {pressure:g} mbar, before the solvent "
                f"({boils:.0f} degC), so it would not stay behind.",
                "Choose a less volatile keeper.",
            )


def _at(faults: Faults, compute: Callable[[], float]) -> float | None:
    try:
        return compute()
    except ModelError as error:
        faults.add("sample.solvents", error.message, error.cure)
        return None


def _boiling_c(solvents: list[tuple[str, float]], pressure_mbar: float) -> float:
    system = build_system(solvents, None, [])
    moles = system.moles(1e-3, 0.0)
    point = bubble_point(system, np.asarray(moles / moles.sum()), pascal(pressure_mbar))
    return celsius(point.temperature)


