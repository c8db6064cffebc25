"""Checks that need more than one field of a job.

They run on a job whose fields may be at fault already, so that every fault is said at once:
a missing number is nan, which no comparison here objects to, a missing name is empty.
"""

from __future__ import annotations

import re

from experiments.job import EvaporationJob
from experiments.job_fields import Faults
from experiments.job_file import check_possible
from experiments.substance_checks import check_substances
from models.equipment import RESIDUE_DENSITY
from models.quantities import MG, ML
from models.substance_names import registry_fault

UNSEEN = re.compile(r"[\r\n\t\u200b-\u200f\u2028\u2029\u2060\ufeff]")
"""Line breaks and characters without width, which make two names look alike."""


def check_job(job: EvaporationJob, faults: Faults) -> None:
    """Add every fault that single fields do not show."""
    _check_volumes(job, faults)
    _check_pressures(job, faults)
    if job.today and "end_pressure_mbar" in job.today:
        check_possible(job, job.today, "today.setting", faults)
    _check_analytes(job, faults)
    check_substances(job, faults)


def _check_volumes(job: EvaporationJob, faults: Faults) -> None:
    sample, capacity = job.sample, job.equipment.vessel_capacity_ml
    _, keeper = _span(
        job, "keeper_volume_ml", sample.keeper.volume_ml if sample.keeper else 0.0)
    total = sample.fill_volume_ml + keeper
    if total > capacity:
        what = f"{total:g} mL with the keeper" if keeper else f"{total:g} mL"
        faults.add("sample.fill_volume_ml", f"is {what}, above the vessel's {capacity:g} mL.",
                   "Fill less or use larger vessels.")
    if sample.residue_mg * MG / RESIDUE_DENSITY >= sample.fill_volume_ml * ML:
        faults.add("sample.residue_mg", f"is {sample.residue_mg:g} mg, as much as the whole fill "
                   f"of {sample.fill_volume_ml:g} mL.",
                   "Give the non-volatile matrix in one vessel, in mg.")
    shares = sum(s.volume_fraction for s in sample.solvents)
    if abs(shares - 1.0) > 1e-6 and not faults.at("sample.solvents"):
        faults.add("sample.solvents", f"volume fractions add to {shares:g}, not to 1.",
                   "Correct them so that they add to 1.")
    least, end = _span(job, "end_volume_ml", sample.end_volume_ml)
    if end >= sample.fill_volume_ml:
        faults.add("sample.end_volume_ml", f"is {end:g} mL, not below the fill.",
                   "Give a smaller end volume.")
    if end > 0 and keeper > 0 and least <= keeper:
        faults.add("sample.end_volume_ml" if least == end else "factors.end_volume_ml",
                   f"{'is' if least == end else 'starts at'} {least:g} mL, not above the keeper's "
                   f"{keeper:g} mL.",
                   "Give 0 for down to the keeper, or end volumes above it.")
    if end > 0 and not sample.end_volume_control:
        faults.add("sample.end_volume_control", "is needed when the end volume is above 0.",
                   'Say how it is held: "cold tip", "weighing" or "time".')
    if sample.keeper is None:
        for name in ("keeper", "keeper_volume_ml"):
            if any(f.name == name for f in job.factors):
                faults.add(f"factors.{name}", "needs a keeper in the sample.",
                           'Add keeper = { name = "n-dodecane", volume_ml = 1.0 } to [sample].')


def _span(job: EvaporationJob, factor: str, otherwise: float) -> tuple[float, float]:
    """Smallest and largest value of a factor, the fixed one where it is none."""
    return next(((f.low, f.high) for f in job.factors if f.name == factor),
                (otherwise, otherwise))


def _check_pressures(job: EvaporationJob, faults: Faults) -> None:
    equipment = job.equipment
    ultimate = equipment.ultimate_pressure_mbar
    if ultimate >= equipment.ramp_start_pressure_mbar:
        faults.add("equipment.ultimate_pressure_mbar",
                   f"is {ultimate:g} mbar, not below the start of the ramp.",
                   "Correct it or equipment.ramp_start_pressure_mbar.")
    end = next((f for f in job.factors if f.name == "end_pressure_mbar"), None)
    if end is None:
        return
    if end.high >= equipment.ramp_start_pressure_mbar:
        faults.add(
            "factors.end_pressure_mbar",
            f"reaches {end.high:g} mbar, not below the start of the ramp at "
            f"{equipment.ramp_start_pressure_mbar:g} mbar.",
            "Lower the end pressure or raise equipment.ramp_start_pressure_mbar.",
        )
    if end.low < ultimate:
        faults.add(
            "factors.end_pressure_mbar",
            f"starts at {end.low:g} mbar, below the pump's ultimate pressure of "
            f"{ultimate:g} mbar.",
            "Raise the lower bound.",
        )


def _check_analytes(job: EvaporationJob, faults: Faults) -> None:
    seen: set[str] = set()
    for i, analyte in enumerate(job.analytes):
        path = f"analytes[{i}]"
        if not analyte.name.strip() and not faults.at(f"{path}.name"):
            faults.add(f"{path}.name", "is empty.", "Name the analyte.")
        elif analyte.name != analyte.name.strip():
            faults.add(f"{path}.name", f"{analyte.name!r} begins or ends with a space.",
                       "Take it away; tables are read without it.")
        if UNSEEN.search(analyte.name):
            faults.add(f"{path}.name", f"{analyte.name!r} holds a line break or something unseen.",
                       "Type it again on one line.")
        if analyte.name and analyte.name.casefold() in seen:
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
    return bool(re.fullmatch(r"[1-9]\d{1,6}-\d\d-\d", cas)) and not registry_fault(cas)
