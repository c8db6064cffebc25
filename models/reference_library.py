"""Substances read from the ``chemicals`` and ``thermo`` libraries, with their faults caught.

Rules instead of patches by name (each fault found is written into ``Substance.warnings``):

- a melting or boiling point counts when at least two sources agree or a handbook has it;
  group-contribution estimates never count as data;
- a boiling point that contradicts a measured vapour pressure more than 30-fold (more for
  very low pressures) is dropped;
- a vapour-pressure correlation is used only inside its stated range, above the melting point
  (below it the data are of the solid), and only if it meets the boiling point within 3 K;
- corresponding-states estimates are not data, so no critical temperature is used (one in the
  libraries is a thousand times too small);
- where sources disagree, the disagreement becomes part of the uncertainty;
- a flammability limit that is not positive is dropped.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.cited_values import own_points, own_values
from models.errors import UnknownSubstance
from models.library_constants import density_of, flammability, heat_capacity_of, unifac_groups
from models.library_identity import REGISTRY, data_number, identified
from models.plausibility import (
    LONELY_SD_K,
    far_from_boiling_point,
    far_scatter,
    has_donor,
    lonely_boiling_point_fails,
    lonely_correlation,
    scatter_floor,
    shape_of,
    structure_evidence,
)
from models.pressure_sources import (
    ESTIMATES,
    calculated,
    correlations,
    doubt,
    measured,
    meets_boiling_point,
    meets_own_points,
    spread,
    without_outliers,
)
from models.quantities import ATMOSPHERE, celsius
from models.substances import Substance, normalised
from models.volatility import (
    REFERENCE,
    Curve,
    Evidence,
    boiling_point_estimate,
    enthalpy,
    fit_curve,
    ln_pressure,
    pressure_from_boiling_point,
)

INVOLATILE = 950.0
"""K; what melts or boils above it (salts, metals) is no solvent and no analyte."""
MELTS_APART = 5.0
"""K; a boiling point of a single source that lies no further above the melting point is one of
sublimation, or the melting point itself."""


@contextmanager
def _resource_warnings_off() -> Iterator[None]:
    """Silence the libraries' unclosed data files, which are none of the reader's business."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        yield


def agreed_temperature(values: dict[str, float]) -> tuple[float, str, float]:
    """Value, source and sd in K of a melting or boiling point from several sources.

    The handbook value is taken if half of the others are within 1.5 % of it and no three of them
    agree on another (within 2 K, over 3 K away), else the median with half the spread as sd; a
    single value that is no estimate gets 3 %. nan when none.
    """
    data = {k: v for k, v in values.items() if k not in ESTIMATES and v and math.isfinite(v)}
    if not data:
        return math.nan, "", math.nan
    middle = float(np.median(list(data.values())))
    near = {k: v for k, v in data.items() if abs(v - middle) < 0.015 * middle}
    for handbook in ("HEOS", "CRC_ORG", "CRC_INORG"):
        if handbook not in near:
            continue
        others = {k: v for k, v in near.items() if k != handbook}
        if not _outvoted(near[handbook], list(others.values())):
            return near[handbook], handbook, 0.2 if others else 3.0
        near = others
    if len(near) >= 2:
        best = float(np.median(list(near.values())))
        return best, "/".join(sorted(near)), max(1.0, 0.5 * float(np.ptp(list(near.values()))))
    name, value = min(data.items(), key=lambda item: abs(item[1] - middle))
    return value, name, 0.03 * value


def _outvoted(handbook: float, others: list[float]) -> bool:
    """Whether at least three other sources agree within 2 K on a value more than 3 K away."""
    return len(others) >= 3 and float(np.ptp(others)) < 2.0 and (
        abs(float(np.median(others)) - handbook) > 3.0)


def read_substance(name: str, look_up: str = "", role: str = "other",
                   synonyms: tuple[str, ...] = ()) -> Substance:
    """Read one substance; ``look_up`` is its CAS number if the name is not to be trusted.

    Raises
    ------
    UnknownSubstance
        When the libraries have no such substance, or nothing about its volatility.
    """
    with _resource_warnings_off():
        found = identified(name, look_up)
        return _named(found, name, look_up, role, synonyms)


def _named(found: Any, name: str, look_up: str, role: str,
           synonyms: tuple[str, ...]) -> Substance:
    numbered = REGISTRY.fullmatch(name) is not None
    label = found.common_name if numbered and not look_up else name
    made = _assemble(found, label, look_up or found.CASs, role, synonyms, data_number(name, found))
    if look_up or numbered or normalised(found.common_name) == normalised(name):
        return made
    note = f"{name} is taken as {found.common_name}, CAS {found.CASs}"
    return replace(made, warnings=(note, *made.warnings))


def _involatile(name: str, cas: str) -> UnknownSubstance:
    return UnknownSubstance(
        name, why=f"{name} (CAS {cas}) does not evaporate.",
        cure="All of it stays in the vessel: it needs no forecast, so leave it out.")


def _fixed_points(name: str, library: str) -> tuple[float, float, float, dict[str, str]]:
    """Boiling point, its sd and freezing point in K, and where they are from.

    Raises
    ------
    UnknownSubstance
        For salts and metals.
    """
    from chemicals import Tb, Tb_methods, Tm, Tm_methods

    boiling, boiling_source, sd = agreed_temperature(
        {m: Tb(library, method=m) for m in Tb_methods(library)})
    freezing, freezing_source, _ = agreed_temperature(
        {m: Tm(library, method=m) for m in Tm_methods(library)})
    if boiling > INVOLATILE or freezing > INVOLATILE:
        raise _involatile(name, library)
    own = own_values().get((name, "boiling_temperature"))
    if own:
        boiling, boiling_source, sd = own.value, own.source, 0.2
    own = own_values().get((name, "freezing_temperature"))
    if own:
        freezing, freezing_source = own.value, own.source
    return boiling, sd, freezing, {"boiling point": boiling_source,
                                   "freezing point": freezing_source}


def _assemble(found: Any, name: str, cas: str, role: str, synonyms: tuple[str, ...],
              library: str) -> Substance:
    """Everything under the CAS number ``library``, which may be another one than ``cas``."""
    if found.charge:
        raise _involatile(name, cas)
    notes: list[str] = []
    boiling, boiling_sd, freezing, sources = _fixed_points(name, library)
    molar_mass = found.MW / 1000.0
    heat_capacity, sources["heat capacity"] = heat_capacity_of(library, molar_mass)
    boiling = _believed_boiling(name, boiling, boiling_sd, freezing, sources["boiling point"],
                                found.smiles, notes)
    known = _volatility(name, library, boiling, boiling_sd, freezing, sources["boiling point"],
                        found.smiles, molar_mass, heat_capacity, notes)
    if known is None:
        raise UnknownSubstance(name, why=(
            f"{name} is known (CAS {cas}, {found.MW:.1f} g/mol), but nothing of its volatility."))
    sources["vapour pressure"] = known.source
    h_vap, sources["enthalpy of vaporisation"] = _enthalpy(library, known.curve, boiling)
    density, sources["density"] = density_of(name, library, molar_mass)
    flash, ignition, limit = flammability(library, notes)
    groups = unifac_groups(found)
    return Substance(
        name=name, cas=cas, role=role, synonyms=synonyms, formula=found.formula,
        smiles=found.smiles, molar_mass=molar_mass, ln_p=known.curve.coefficients,
        ln_p_sd=known.sd, ln_p_range=known.covered,
        h_vap=h_vap, density=density, heat_capacity=heat_capacity,
        boiling_temperature=boiling, freezing_temperature=freezing,
        flash_temperature=flash[0], flash_source=flash[1],
        ignition_temperature=ignition[0], ignition_source=ignition[1],
        lower_flammable_limit=limit, unifac=groups[0], unifac_dortmund=groups[1],
        sources={k: v for k, v in sources.items() if v}, warnings=tuple(notes),
        points_text=_packed(known.evidence),
    )


def _believed_boiling(name: str, boiling: float, boiling_sd: float, freezing: float, source: str,
                      smiles: str, notes: list[str]) -> float:
    """The boiling point (K), nan where the melting point, a pressure or the structure refutes it.

    Why it was dropped is added to ``notes``.
    """
    if boiling_sd >= LONELY_SD_K and boiling < freezing + MELTS_APART:
        notes.append(f"the only boiling point, {celsius(boiling):.0f} degC, is hardly above the "
                     f"melting point, {celsius(freezing):.0f} degC, not used")
        boiling = math.nan
    points = own_points().get(name, ())
    if points and math.isfinite(boiling):
        guess = pressure_from_boiling_point(boiling, points[0].temperature)
        allowed = math.log(30.0) + 0.1 * abs(math.log(ATMOSPHERE / points[0].pressure))
        if abs(math.log(guess / points[0].pressure)) > allowed:
            notes.append(f"the boiling point {celsius(boiling):.0f} degC of "
                         f"{source} contradicts the vapour pressure")
            boiling = math.nan
    if not points and lonely_boiling_point_fails(boiling, boiling_sd, smiles, notes):
        boiling = math.nan
    return boiling


@dataclass(frozen=True)
class _Volatility:
    """A vapour-pressure curve, its sd in ln P at the reference, K it covers, what it rests on."""

    curve: Curve
    sd: float
    covered: tuple[float, float]
    source: str
    evidence: list[Evidence]


def _volatility(name: str, library: str, boiling: float, boiling_sd: float, freezing: float,
                boiling_source: str, smiles: str, molar_mass: float, heat_capacity: float,
                notes: list[str]) -> _Volatility | None:
    """The vapour pressure of the liquid from all that is believed of it; None without any."""
    points = own_points().get(name, ())
    curves = correlations(library, boiling, freezing, notes)
    if math.isfinite(boiling):
        curves = meets_boiling_point(curves, boiling, boiling_sd, notes)
    curves = meets_own_points(without_outliers(curves, notes), points, notes)
    donor = has_donor(smiles)
    scatter = math.hypot(
        max(spread(curves), scatter_floor(curves)),
        far_scatter(curves, molar_mass, heat_capacity, donor, bool(points)),
        0.0 if points else far_from_boiling_point(
            curves, boiling, smiles, molar_mass, heat_capacity))
    used = list(curves)
    evidence = measured(curves, doubt(curves, points, molar_mass, heat_capacity, notes, donor))
    if len(curves) == 1 and not points:
        evidence, more = lonely_correlation(evidence, boiling, smiles, molar_mass, notes)
        scatter, used = math.hypot(scatter, more), used if evidence else []
    if math.isfinite(boiling):
        evidence.append(Evidence(boiling, ATMOSPHERE, max(4e-4 * 11.0 * boiling_sd, 0.002),
                                 boiling_source))
    evidence += points
    rough = None if used or points else _guess(boiling, boiling_sd, boiling_source, smiles)
    if rough is not None:
        evidence.append(rough)
    if not evidence:
        return None
    curve = fit_curve(evidence, molar_mass, heat_capacity, donor)
    gaps = [float(ln_pressure(curve.coefficients, p.temperature)) - math.log(p.pressure)
            for p in points]
    sd = math.sqrt(curve.sd(REFERENCE) ** 2 + scatter**2 + sum((0.5 * g) ** 2 for g in gaps))
    ranges = [e.temperature for e in evidence] if used else []
    covered = (min(ranges), max(ranges)) if ranges else (math.nan, math.nan)
    source = "; ".join([*used, *(p.source for p in points)]) or (
        f"estimated: {rough.source}" if rough is not None else "")
    return _Volatility(curve, sd, covered, source, evidence)


def _packed(evidence: list[Evidence], most: int = 6) -> str:
    """Data points as "source=T:P T:P|...", at most six of each source, evenly spread."""
    by_source: dict[str, list[Evidence]] = {}
    for point in evidence:
        by_source.setdefault(point.source.replace("=", ":").replace("|", ";"), []).append(point)
    parts = []
    for source, points in by_source.items():
        chosen = np.unique(np.linspace(0, len(points) - 1, min(most, len(points))).astype(int))
        text = " ".join(f"{points[i].temperature:.2f}:{points[i].pressure:.5g}" for i in chosen)
        parts.append(f"{source}={text}")
    return "|".join(parts)


def _enthalpy(cas: str, curve: Curve, boiling: float) -> tuple[np.ndarray[Any, Any], str]:
    """Quadratic through the library's enthalpy, or through the slope of the curve."""
    from thermo.phase_change import EnthalpyVaporization

    top = min(430.0, boiling + 40.0) if math.isfinite(boiling) else 400.0
    grid = np.linspace(240.0, max(top, 300.0), 20)
    slope = enthalpy(curve.coefficients, grid)
    model = EnthalpyVaporization(CASRN=cas)
    for method in ("HEOS_FIT", "COOLPROP", "DIPPR_PERRY_8E", "VDI_PPDS"):
        if method not in model.T_limits:
            continue
        low, high = model.T_limits[method]
        T = grid[(grid >= low) & (grid <= high)]
        if len(T) < 5:
            continue
        values = np.array([calculated(model, t, method) for t in T])
        if not np.isfinite(values).all():
            continue
        coefficients = np.polynomial.Polynomial.fit(T, values, 2).convert().coef
        full = np.zeros(3)
        full[: len(coefficients)] = coefficients
        return _towards_handbook(full, model, boiling, f"{method} ({low:.0f}-{high:.0f} K)")
    full = np.asarray(np.polynomial.Polynomial.fit(
        grid, slope * _vapour_factor(curve, grid, boiling), 2).convert().coef, dtype=float)
    return _towards_handbook(full, model, boiling, "slope of the vapour-pressure curve", 1.0)


def _vapour_factor(curve: Curve, T: np.ndarray[Any, Any],
                   boiling: float) -> np.ndarray[Any, Any]:
    """Compressibility of the vapour less that of the liquid, for Clapeyron's equation.

    J. E. Haggenmacher, J. Am. Chem. Soc. 68 (1946) 1633: sqrt(1 - (P/Pc)/(T/Tc)^3), with Tc
    = 1.5 Tb and Pc = 3.5 MPa as usual for organic liquids (good to 2 % below Tb).
    """
    if not math.isfinite(boiling):
        return np.ones_like(T)
    P = np.exp(ln_pressure(curve.coefficients, T))
    return np.asarray(np.sqrt(np.clip(1.0 - P / 3.5e6 / (T / (1.5 * boiling)) ** 3, 0.5, 1.0)))


def _guess(boiling: float, boiling_sd: float, source: str, smiles: str) -> Evidence | None:
    """Vapour pressure from the boiling point, or else from the structure, if there is one.

    A boiling point that one source alone has is held against the structure: where that suggests a
    higher one, half of the difference in ln P is added to the doubt (it may be one of
    decomposition or under vacuum).
    """
    structure = structure_evidence(smiles)
    if not math.isfinite(boiling):
        return structure
    point = boiling_point_estimate(boiling, source, boiling_sd, shape_of(smiles))
    if structure is None or boiling_sd < LONELY_SD_K:
        return point
    gap = max(0.0, math.log(point.pressure / structure.pressure))
    return replace(point, sd=math.hypot(point.sd, 0.5 * gap))


def _towards_handbook(coefficients: np.ndarray[Any, Any], model: Any, boiling: float,
                      source: str, weight: float = 2.0 / 3.0) -> tuple[np.ndarray[Any, Any], str]:
    """Pull an enthalpy towards measured handbook values at 298 K and the boiling point.

    A correlation is pulled two thirds of the way when it misses them by over 2.5 %: measured
    values count twice against one correlation, unless they are over 15 % off, where they are
    rather wrong themselves. The slope of a vapour-pressure curve is moved onto them (limit
    30 %). With one value the shift is the same at every temperature, with two linear in T.
    """
    places = {"CRC_HVAP_298": 298.15, "CRC_HVAP_TB": boiling}
    gaps = {}
    for method, T in places.items():
        if method in model.T_limits and math.isfinite(T):
            known = calculated(model, T, method)
            gap = known - float(np.polynomial.polynomial.polyval(T, coefficients))
            if math.isfinite(gap) and abs(gap) < (0.15 if weight < 1.0 else 0.30) * known:
                gaps[T] = (gap, abs(gap) / known)
    far = max((share for _, share in gaps.values()), default=0.0)
    if far == 0.0 or (weight < 1.0 and far < 0.025):
        return coefficients, source
    T_known, gap_known = np.array(list(gaps)), np.array([gap for gap, _ in gaps.values()])
    shift = np.polynomial.Polynomial.fit(T_known, gap_known, len(gaps) - 1).convert().coef
    pulled = coefficients.copy()
    pulled[: len(shift)] += np.asarray(shift, dtype=float) * weight
    taken = "moved onto it" if weight == 1.0 else "taken 2:1"
    return pulled, f"{source}; handbook (CRC) differs by {100 * far:.0f} %, {taken}"
