"""Substances read from the ``chemicals`` and ``thermo`` libraries, with their faults caught.

Rules instead of patches by name (each fault found is written into ``Substance.warnings``):

- a melting or boiling point counts when at least two sources agree or a handbook has it;
  group-contribution estimates never count as data;
- a boiling point that contradicts a measured vapour pressure more than 30-fold (more for
  very low pressures) is dropped;
- a vapour-pressure correlation is used only inside its stated range, above the melting point
  (below it the data are of the solid), and only if it meets the boiling point within 3 K;
- corresponding-states estimates are not data; a critical temperature outside 1.15-2.2 times
  the boiling temperature is not believed;
- where sources disagree, the disagreement becomes part of the uncertainty;
- a flammability limit that is not positive is dropped.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from models.errors import UnknownSubstance
from models.quantities import ATMOSPHERE
from models.substances import Substance, read_table
from models.volatility import (
    Curve,
    Evidence,
    boiling_point_estimate,
    enthalpy,
    fit_curve,
    ln_pressure,
    pressure_from_boiling_point,
)

ESTIMATES = {
    "AMBROSE_WALTON", "LEE_KESLER_PSAT", "EDALAT", "SANJARI", "BOILING_CRITICAL", "EOS", "PSAT_DEFINITION", "JOBACK",
}
DENSITY_SOURCES = ("HEOS_FIT", "COOLPROP", "DIPPR_PERRY_8E", "VDI_PPDS", "VDI_TABULAR")
REFERENCE = 313.15


@dataclass(frozen=True)
class MeasuredValue:
    """A published value of our own table that the libraries lack or have wrong."""

    value: float
    source: str


@lru_cache(maxsize=1)
def own_points() -> dict[str, tuple[Evidence, ...]]:
    """Cited vapour pressures of ``data/subcooled_pressures.csv`` by name."""
    points: dict[str, tuple[Evidence, ...]] = {}
    for row in read_table("subcooled_pressures.csv"):
        point = Evidence(
            float(row["temperature_k"]), float(row["pressure_pa"]), float(row["sd_ln"]),
            f"{row['source']} (from memory, {row['grade']})",
        )
        points[row["name"]] = (*points.get(row["name"], ()), point)
    return points


@lru_cache(maxsize=1)
def own_values() -> dict[tuple[str, str], MeasuredValue]:
    """Cited values of ``data/measured_values.csv`` by (name, property)."""
    return {
        (row["name"], row["property"]): MeasuredValue(float(row["value"]), row["source"])
        for row in read_table("measured_values.csv")
    }


def agreed_temperature(values: dict[str, float]) -> tuple[float, str, float]:
    """Value, source and sd in K of a melting or boiling point from several sources.

    The handbook value is taken if half of the others are within 1.5 % of it, else the median
    with half the spread as sd; a single value that is no estimate gets 3 %. nan when none.
    """
    data = {k: v for k, v in values.items() if k not in ESTIMATES and v and math.isfinite(v)}
    if not data:
        return math.nan, "", math.nan
    middle = float(np.median(list(data.values())))
    near = {k: v for k, v in data.items() if abs(v - middle) < 0.015 * middle}
    for handbook in ("HEOS", "CRC_ORG", "CRC_INORG"):
        if handbook in near:
            return near[handbook], handbook, 0.2 if len(near) > 1 else 3.0
    if len(near) >= 2:
        best = float(np.median(list(near.values())))
        return best, "/".join(sorted(near)), max(1.0, 0.5 * float(np.ptp(list(near.values()))))
    name, value = min(data.items(), key=lambda item: abs(item[1] - middle))
    return value, name, 0.03 * value


def read_substance(name: str, look_up: str = "", role: str = "other",
                   synonyms: tuple[str, ...] = ()) -> Substance:
    """Read one substance; ``look_up`` is its CAS number if the name is not to be trusted.

    Raises
    ------
    UnknownSubstance
        When the libraries have no such substance, or nothing about its volatility.
    """
    from chemicals.identifiers import search_chemical

    try:
        found = search_chemical(look_up or name)
    except (ValueError, KeyError, IndexError):
        raise UnknownSubstance(name) from None
    label = name if look_up or not re.fullmatch(r"\d+-\d\d-\d", name) else found.common_name
    return _assemble(found, label, look_up or found.CASs, role, synonyms)


def _assemble(found: Any, name: str, cas: str, role: str,
              synonyms: tuple[str, ...]) -> Substance:
    from chemicals import Tb, Tb_methods, Tm, Tm_methods

    library, warnings = found.CASs, []
    sources: dict[str, str] = {}
    boiling, sources["boiling point"], boiling_sd = agreed_temperature(
        {m: Tb(library, method=m) for m in Tb_methods(library)})
    freezing, sources["freezing point"], _ = agreed_temperature(
        {m: Tm(library, method=m) for m in Tm_methods(library)})
    for key in ("boiling", "freezing"):
        own = own_values().get((name, f"{key}_temperature"))
        if own and key == "boiling":
            boiling, sources["boiling point"], boiling_sd = own.value, own.source, 0.2
        elif own:
            freezing, sources["freezing point"] = own.value, own.source
    molar_mass = found.MW / 1000.0
    heat_capacity, sources["heat capacity"] = _heat_capacity(library, molar_mass)
    points = own_points().get(name, ())
    if points and math.isfinite(boiling):
        guess = pressure_from_boiling_point(boiling, points[0].temperature)
        allowed = math.log(30.0) + 0.1 * abs(math.log(ATMOSPHERE / points[0].pressure))
        if abs(math.log(guess / points[0].pressure)) > allowed:
            warnings.append(f"the boiling point {boiling - 273.15:.0f} degC of "
                            f"{sources['boiling point']} contradicts the vapour pressure")
            boiling = math.nan
    curves = _correlations(library, boiling, freezing, warnings)
    if math.isfinite(boiling):
        curves = _meets_boiling_point(curves, boiling, boiling_sd, warnings)
    curves = _meets_own_points(_without_outliers(curves, warnings), points, warnings)
    spread, used = _spread(curves), list(curves)
    doubt = _doubt(curves, points, molar_mass, heat_capacity, warnings)
    evidence = _measured(curves, doubt)
    if math.isfinite(boiling):
        evidence.append(Evidence(boiling, ATMOSPHERE, max(4e-4 * 11.0 * boiling_sd, 0.002),
                                 sources["boiling point"]))
    evidence += points
    if math.isfinite(boiling) and not used and not points:
        evidence.append(boiling_point_estimate(boiling, sources["boiling point"]))
    if not evidence:
        raise UnknownSubstance(name)
    curve = fit_curve(evidence, molar_mass, heat_capacity)
    gaps = [float(ln_pressure(curve.coefficients, p.temperature)) - math.log(p.pressure)
            for p in points]
    sd = math.sqrt(curve.sd(REFERENCE) ** 2 + spread**2 + sum((0.5 * g) ** 2 for g in gaps))
    ranges = [e.temperature for e in evidence] if used else []
    sources["vapour pressure"] = "; ".join([*used, *(p.source for p in points)]) or (
        f"estimated from the boiling point ({sources['boiling point']})")
    h_vap, sources["enthalpy of vaporisation"] = _enthalpy(library, curve, boiling, warnings)
    density, sources["density"] = _density(name, library, molar_mass)
    flash, ignition, limit = _flammability(library, warnings)
    groups = _unifac_groups(found)
    return Substance(
        name=name, cas=cas, role=role, synonyms=synonyms, formula=found.formula,
        smiles=found.smiles, molar_mass=molar_mass, ln_p=curve.coefficients, ln_p_sd=sd,
        ln_p_range=(min(ranges), max(ranges)) if ranges else (math.nan, math.nan),
        h_vap=h_vap, density=density, heat_capacity=heat_capacity,
        boiling_temperature=boiling, freezing_temperature=freezing,
        flash_temperature=flash[0], flash_source=flash[1],
        ignition_temperature=ignition[0], ignition_source=ignition[1],
        lower_flammable_limit=limit, unifac=groups[0], unifac_dortmund=groups[1],
        sources={k: v for k, v in sources.items() if v}, warnings=tuple(warnings),
    )


def _correlations(cas: str, boiling: float, freezing: float,
                  warnings: list[str]) -> dict[str, dict[float, float]]:
    """T -> P of every correlation of measured data, inside its range and above melting."""
    from thermo.vapor_pressure import VaporPressure

    model = VaporPressure(CASRN=cas)
    melts = freezing if math.isfinite(freezing) else 0.0
    top = max(480.0, boiling + 10.0) if math.isfinite(boiling) else 550.0
    curves: dict[str, dict[float, float]] = {}
    for method, (low, high) in model.T_limits.items():
        if method in ESTIMATES or method == "VDI_TABULAR":
            continue
        low, high = max(low, melts - 0.5, 200.0), min(high, top)
        if high <= low:
            warnings.append(f"{method} is of the solid or far outside the range of use, not used")
            continue
        count = max(3, min(25, int((high - low) / 8.0) + 1))
        grid = [float(T) for T in np.linspace(low, high, count)]
        values = {T: float(model.calculate(T, method)) for T in grid}
        if not all(math.isfinite(v) and v > 0 for v in values.values()):
            warnings.append(f"{method} gives impossible pressures, not used")
            continue
        curves[method] = values
    return curves


def _measured(curves: dict[str, dict[float, float]], doubt: float = 1.0) -> list[Evidence]:
    """Points of the correlations; together they weigh like one measurement of ``doubt`` times
    0.8 % (three sources or more), 2 % (two) or 5 % (one).
    """
    sd = {1: 0.05, 2: 0.02}.get(len(curves), 0.008) * doubt
    return [
        Evidence(T, P, sd * math.sqrt(len(values) * len(curves)), method)
        for method, values in curves.items() for T, P in values.items()
    ]


def _doubt(curves: dict[str, dict[float, float]], points: tuple[Evidence, ...],
           molar_mass: float, heat_capacity: float, warnings: list[str]) -> float:
    """10 when the correlations, carried to a cited measurement, miss it twofold, else 1."""
    if not curves or not points:
        return 1.0
    curve = fit_curve(_measured(curves), molar_mass, heat_capacity)
    gap = max(abs(float(ln_pressure(curve.coefficients, p.temperature)) - math.log(p.pressure))
              for p in points)
    if gap <= max(math.log(2.0), 1.5 * max(p.sd for p in points)):
        return 1.0
    warnings.append(f"{', '.join(curves)} carried to {points[0].temperature:.0f} K miss the "
                    f"cited pressure {math.exp(gap):.1f}-fold, little weight given")
    return 10.0


def _straight(values: dict[float, float]) -> Any:
    """Ln P against 1/T as a quadratic, to compare curves outside their own grid."""
    T = np.array(list(values))
    return np.polynomial.Polynomial.fit(1.0 / T, np.log(list(values.values())),
                                        2 if len(T) > 3 else 1)


def _meets_boiling_point(curves: dict[str, dict[float, float]], boiling: float,
                         boiling_sd: float, warnings: list[str]) -> dict[str, dict[float, float]]:
    kept = {}
    for method, values in curves.items():
        if not min(values) - 5.0 <= boiling <= max(values) + 5.0:
            kept[method] = values
            continue
        poly = _straight(values)
        slope = -poly.deriv()(1.0 / boiling) / boiling**2
        error = (float(poly(1.0 / boiling)) - math.log(ATMOSPHERE)) / abs(slope)
        if abs(error) > 3.0 + 2.0 * boiling_sd:
            warnings.append(f"{method} misses the boiling point by {abs(error):.0f} K, not used")
        else:
            kept[method] = values
    return kept


def _meets_own_points(curves: dict[str, dict[float, float]], points: tuple[Evidence, ...],
                      warnings: list[str]) -> dict[str, dict[float, float]]:
    """Drop what contradicts a cited measurement twofold and beyond its own uncertainty."""
    kept = {}
    for method, values in curves.items():
        gaps = [
            abs(float(_straight(values)(1.0 / p.temperature)) - math.log(p.pressure))
            for p in points
            if min(values) - 25.0 <= p.temperature <= max(values) + 25.0
            and p.sd < 0.6
        ]
        limits = [max(math.log(2.0), 1.5 * p.sd) for p in points]
        if any(gap > limit for gap, limit in zip(gaps, limits, strict=False)):
            warnings.append(f"{method} contradicts a cited vapour pressure, not used")
        else:
            kept[method] = values
    return kept


def _without_outliers(curves: dict[str, dict[float, float]],
                      warnings: list[str]) -> dict[str, dict[float, float]]:
    """Drop points apart from the median of at least two other sources; all if half are."""
    if len(curves) < 3:
        return curves
    kept = {}
    polys = {m: _straight(v) for m, v in curves.items()}
    for method, values in curves.items():
        good = {}
        for T, P in values.items():
            others = [float(polys[m](1.0 / T)) for m, v in curves.items()
                      if m != method and min(v) - 5 <= T <= max(v) + 5]
            if len(others) < 2 or abs(math.log(P) - float(np.median(others))) < 0.04:
                good[T] = P
        if len(good) < 0.5 * len(values) or len(good) < 3:
            warnings.append(f"{method} is away from the other sources, not used")
            continue
        if len(good) < len(values):
            warnings.append(f"{method} is away from the others outside "
                            f"{min(good):.0f}-{max(good):.0f} K, used there only")
        kept[method] = good
    return kept or curves


def _spread(curves: dict[str, dict[float, float]]) -> float:
    """Half the range of ln P between sources near 313 K, where they can be compared."""
    T = REFERENCE
    values = [float(_straight(v)(1.0 / T)) for v in curves.values()
              if min(v) - 25.0 <= T <= max(v) + 25.0]
    if len(values) < 2:
        return 0.02
    return max(0.005, float(np.std(values)))


def _enthalpy(cas: str, curve: Curve, boiling: float,
              warnings: list[str]) -> tuple[np.ndarray[Any, Any], str]:
    """Quadratic through the library's enthalpy, or through the slope of the curve."""
    from thermo.phase_change import EnthalpyVaporization

    top = min(430.0, boiling + 40.0) if math.isfinite(boiling) else 400.0
    grid = np.linspace(240.0, max(top, 300.0), 20)
    slope = enthalpy(curve.coefficients, grid)
    model = EnthalpyVaporization(CASRN=cas)
    data = [m for m in model.T_limits if m.startswith(("COOLPROP", "DIPPR", "VDI_PPDS", "HEOS", "ALIBAKHSHI", "CRC"))]
    for method in ("HEOS_FIT", "COOLPROP", "DIPPR_PERRY_8E", "VDI_PPDS"):
        if method not in data:
            continue
        low, high = model.T_limits[method]
        T = grid[(grid >= low) & (grid <= high)]
        if len(T) < 5:
            continue
        values = np.array([float(model.calculate(t, method)) for t in T])
        coefficients = np.polynomial.Polynomial.fit(T, values, 2).convert().coef
        full = np.zeros(3)
        full[: len(coefficients)] = coefficients
        return full, f"{method} ({low:.0f}-{high:.0f} K)"
    if data:
        warnings.append("enthalpy of vaporisation from the slope of the vapour pressure")
    full = np.array([0.0, 0.0, 0.0])
    full[:] = np.polynomial.Polynomial.fit(grid, slope, 2).convert().coef
    return full, "slope of the vapour-pressure curve (ideal vapour)"


def _density(name: str, cas: str, molar_mass: float) -> tuple[float, str]:
    """Density in kg/m3 at 293.15 K, from a measured correlation within 15 K of its range."""
    own = own_values().get((name, "density"))
    if own:
        return own.value, own.source
    from thermo.volume import VolumeLiquid

    model = VolumeLiquid(CASRN=cas)
    for method in DENSITY_SOURCES:
        low, high = model.T_limits.get(method, (math.inf, -math.inf))
        if not low - 60.0 <= 293.15 <= high:
            continue
        T = max(293.15, low)
        volume = float(model.calculate(T, method))
        if math.isfinite(volume) and 500.0 < molar_mass / volume < 4000.0:
            return molar_mass / volume * (1.0 + 1.0e-3 * (T - 293.15)), method
    return 1000.0, "not known, 1000 kg/m3 assumed"


def _heat_capacity(cas: str, molar_mass: float) -> tuple[float, str]:
    from thermo.heat_capacity import HeatCapacityLiquid

    model = HeatCapacityLiquid(CASRN=cas)
    for method, (low, high) in model.T_limits.items():
        if method in {"ROWLINSON_POLING", "ROWLINSON_BONDI", "DADGOSTAR_SHAW"}:
            continue
        T = min(max(298.15, low), high)
        if abs(T - 298.15) < 80.0:
            value = float(model.calculate(T, method))
            if 1000.0 < value / molar_mass < 5000.0 or (0.6e3 < value / molar_mass <= 1000.0):
                return value, method
    return 1700.0 * molar_mass, "not known, 1.7 J/(g K) assumed"


def _flammability(cas: str, warnings: list[str]) -> tuple[
        tuple[float, str], tuple[float, str], float]:
    """Lowest flash and ignition temperatures with the standard, and the flammable limit."""
    from chemicals import LFL, T_autoignition, T_flash
    from chemicals.safety import LFL_methods, T_autoignition_methods, T_flash_methods

    standards = {"IEC 60079-20-1 (2010)": "IEC 60079-20-1 (2010)", "NFPA 497 (2008)": "NFPA 497 (2008)"}

    def lowest(function: Any, methods: Any) -> tuple[float, str]:
        found = [(float(function(cas, method=m)), standards[m]) for m in methods(cas)
                 if m in standards]
        return min(found, default=(math.nan, ""))

    limits = [float(LFL(CASRN=cas, method=m)) for m in LFL_methods(CASRN=cas) if m in standards]
    if any(v <= 0 for v in limits):
        warnings.append("a lower flammable limit that is not positive was dropped")
    limit = min((v for v in limits if v > 0), default=math.nan)
    return (lowest(T_flash, T_flash_methods), lowest(T_autoignition, T_autoignition_methods),
            limit)


def _unifac_groups(found: Any) -> tuple[dict[int, int], dict[int, int]]:
    """Subgroup counts for original and modified (Dortmund) UNIFAC."""
    from thermo import unifac

    unifac.load_group_assignments_DDBST()
    key = found.InChI_key
    return (dict(unifac.DDBST_UNIFAC_assignments.get(key, {})),
            dict(unifac.DDBST_MODIFIED_UNIFAC_assignments.get(key, {})))

