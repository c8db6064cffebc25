"""Checks of a job that need the chemistry of its substances."""

from __future__ import annotations

import math
from collections.abc import Iterable
from contextlib import suppress

import numpy as np

from experiments.analyte_data import analyte_si
from experiments.job import Analyte, EvaporationJob
from experiments.job_fields import Faults
from models.cautions import is_peroxide_former
from models.errors import ModelError, UnknownSubstance
from models.mixture import bubble_point, build_system
from models.new_analyte import estimate_new_analyte
from models.quantities import celsius, pascal
from models.substances import Substance, find_substance, packaged_substance


def check_substances(job: EvaporationJob, faults: Faults) -> None:
    """Every substance is known, stands once, and may be treated as the job says."""
    solvents = [
        _known(share.name, f"sample.solvents[{i}].name", faults)
        for i, share in enumerate(job.sample.solvents)
    ]
    _check_once(job, [s.cas for s in solvents if s is not None], faults)
    analytes = analyte_numbers(job)
    for i, solvent in enumerate(solvents):
        if solvent is not None and solvent.cas in analytes:
            faults.add(f"sample.solvents[{i}].name", f"{solvent.name} is also an analyte.",
                       "What is boiled off cannot be kept; remove one of the two.")
    for name, path in _keepers(job):
        keeper = _known(name, path, faults)
        if keeper is not None and keeper.cas in {s.cas for s in solvents if s is not None}:
            faults.add(path, f"{name} is also a solvent of the sample.",
                       "Choose another keeper, or leave it out.")
        if keeper is not None and keeper.cas in analytes:
            faults.add(path, f"{name} is also an analyte, of which it would hide the loss.",
                       "Choose another keeper, or leave it out.")
    for i in range(len(job.analytes)):
        _check_analyte(job, i, faults)
    _check_twins(job, faults)
    _check_boiling(job, faults)
    _check_liquids(job, faults)
    _check_peroxides(job, faults)


def analyte_numbers(job: EvaporationJob) -> set[str]:
    """CAS numbers of the analytes, given or known by the name."""
    return {number for a in job.analytes for number in _numbers(a)}


def _numbers(analyte: Analyte) -> set[str]:
    """CAS numbers of an analyte, given or known by the name."""
    numbers = {analyte.cas} if analyte.cas else set()
    with suppress(ModelError):
        known = packaged_substance(analyte.name)
        if known is None and not analyte.is_new:
            known = find_substance(analyte.name)
        numbers |= {known.cas} if known is not None else set()
    return numbers


def _check_twins(job: EvaporationJob, faults: Faults) -> None:
    """No analyte and no keeper stands twice under different names."""
    held: dict[str, str] = {}
    for i, analyte in enumerate(job.analytes):
        numbers = _numbers(analyte)
        twin = next((held[n] for n in numbers if n in held), analyte.name)
        if twin.casefold() != analyte.name.casefold():
            faults.add(f"analytes[{i}].name",
                       f"{analyte.name!r} is the same substance as {twin!r}.",
                       "Remove one of them, or correct name or CAS number.")
        held |= dict.fromkeys(numbers, analyte.name)
    for factor in job.factors:
        found: dict[str, str] = {}
        for i, choice in enumerate(factor.choices):
            with suppress(ModelError):
                number = find_substance(choice).cas
                if number in found:
                    faults.add(f"factors.{factor.name}.choices[{i}]",
                               f"{choice!r} is the same substance as {found[number]!r}.",
                               "Remove one of them.")
                found[number] = choice


def _keepers(job: EvaporationJob) -> list[tuple[str, str]]:
    """Names of all keepers a setting may have, with where they are given; blanks are told."""
    sample = job.sample
    found = [(sample.keeper.name, "sample.keeper.name")] if sample.keeper is not None else []
    for factor in job.factors:
        found += [(c, f"factors.keeper.choices[{i}]") for i, c in enumerate(factor.choices)
                  if c.strip()]
    return found


def _check_once(job: EvaporationJob, numbers: list[str], faults: Faults) -> None:
    names = [s.name.casefold() for s in job.sample.solvents]
    if len(set(names)) < len(names) or len(set(numbers)) < len(numbers):
        faults.add("sample.solvents", "names a solvent twice.", "Merge the two rows.")


def _known(name: str, path: str, faults: Faults) -> Substance | None:
    if not name.strip():
        if not faults.at(path):
            faults.add(path, "is empty.", "Name the substance.")
        return None
    try:
        return find_substance(name)
    except ModelError as error:
        faults.add(path, error.message, error.cure)
        return None


def _check_analyte(job: EvaporationJob, index: int, faults: Faults) -> None:
    analyte, path = job.analytes[index], f"analytes[{index}]"
    if faults.at(f"{path}."):
        return
    by_number = by_name = None
    try:
        by_number = find_substance(analyte.cas) if analyte.cas else None
    except ModelError:
        by_number = None  # a number of the analyst's own list is no fault
    if analyte.is_new:
        try:
            estimate_new_analyte(analyte_si(analyte))
        except ModelError as error:
            faults.add(f"{path}.{_data_key(analyte)}", error.message, error.cure)
        return
    try:
        by_name = find_substance(analyte.name)
    except UnknownSubstance as error:
        if by_number is None:
            faults.add(f"{path}.name", error.message, error.cure)
    if by_number is not None and by_name is not None and by_number.cas != by_name.cas:
        faults.add(f"{path}.cas", f"{analyte.cas} is {by_number.name}, not {analyte.name}.",
                   f"Write {by_name.cas}, or correct the name.")


def _data_key(analyte: Analyte) -> str:
    """Where the data stand that a curve of a new analyte rests on."""
    if analyte.vapour_pressure:
        return "vapour_pressure[0].pressure_pa"
    return "boiling_point.temperature_c" if analyte.boiling_point is not None else "smiles"


def _check_peroxides(job: EvaporationJob, faults: Faults) -> None:
    sample = job.sample
    if not job.may_go_dry or sample.peroxide_test.strip():
        return
    for i, share in enumerate(sample.solvents):
        if is_peroxide_former(share.name):
            faults.add(
                f"sample.solvents[{i}].name",
                f"{share.name} forms peroxides, which may explode when it is dried.",
                "Give sample.peroxide_test (value and date), a keeper or an end volume.",
            )


def _check_boiling(job: EvaporationJob, faults: Faults) -> None:
    """The solvent must boil somewhere in the window, and before every keeper."""
    bounds = {f.name: f for f in job.factors}
    if not {"end_pressure_mbar", "set_temperature_c"} <= set(bounds):
        return
    pressure, hottest = bounds["end_pressure_mbar"].low, bounds["set_temperature_c"].high
    if faults.at("sample.solvents") or not math.isfinite(pressure + hottest):
        return
    shares = [(s.name, s.volume_fraction) for s in job.sample.solvents]
    boils = _boiling_c(shares, pressure, "sample.solvents", faults)
    if boils is None:
        return
    if boils >= hottest:
        faults.add(
            "factors.set_temperature_c",
            f"reaches {hottest:g} degC, but the solvent boils only above {boils:.0f} degC even at "
            f"{pressure:g} mbar, so it cannot boil anywhere in the window.",
            "Raise the set temperature or lower the end pressure.",
        )
    for name, path in _keepers(job):
        if faults.at(path):
            continue
        keeper = _boiling_c([(name, 1.0)], pressure, path, faults)
        if keeper is not None and keeper <= boils:
            faults.add(
                path,
                f"{name} boils at {keeper:.0f} degC at {pressure:g} mbar, before the solvent "
                f"({boils:.0f} degC), so it would not stay behind.",
                "Choose a less volatile keeper.",
            )


def _check_liquids(job: EvaporationJob, faults: Faults) -> None:
    """Whether each liquid as a whole can be described, without a keeper and with each."""
    if faults.at("sample.solvents"):
        return
    analytes = {f"analytes[{i}]": a for i, a in enumerate(job.analytes)}
    known = {where: a for where, a in analytes.items()
             if not any(f.path == where or f.path.startswith(f"{where}.") for f in faults.found)}
    for keeper, path in [(None, "sample.solvents"), *_keepers(job)]:
        if faults.at(path) or _build(job, keeper, known.values()) is None:
            continue
        for where, part in {path: [], **{where: [a] for where, a in known.items()}}.items():
            error = _build(job, keeper, part)
            if error is not None and all(f.message != error.message for f in faults.found):
                faults.add(where, error.message, error.cure)


def _build(
    job: EvaporationJob, keeper: str | None, analytes: Iterable[Analyte]
) -> ModelError | None:
    """Why a liquid cannot be described; None when it can."""
    shares = [(s.name, s.volume_fraction) for s in job.sample.solvents]
    try:
        build_system(shares, keeper, [analyte_si(a) for a in analytes])
    except ModelError as error:
        return error
    return None


def _boiling_c(
    solvents: list[tuple[str, float]], pressure_mbar: float, path: str, faults: Faults
) -> float | None:
    try:
        system = build_system(solvents, None, [])
        moles = system.moles(1e-3, 0.0)
        point = bubble_point(system, np.asarray(moles / moles.sum()), pascal(pressure_mbar))
    except ModelError as error:
        faults.add(path, error.message, error.cure)
        return None
    return celsius(point.temperature)
