"""Vapour-pressure correlations of the ``thermo`` library, and which of them to believe.

The rules are those listed in :mod:`models.reference_library`; what is dropped is said.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from models.quantities import ATMOSPHERE, GAS_CONSTANT
from models.volatility import REFERENCE, Evidence, fit_curve, ln_pressure

WORKING_RANGE = (298.15, REFERENCE, 333.15)
"""K, where extracts are evaporated; sources are compared here."""
ESTIMATES = {
    "AMBROSE_WALTON", "LEE_KESLER_PSAT", "EDALAT", "SANJARI", "BOILING_CRITICAL", "EOS",
    "PSAT_DEFINITION", "JOBACK",
}
EQUATIONS_OF_STATE = {"IAPWS_PSAT", "HEOS_FIT", "COOLPROP"}
"""Wide-range reference equations fitted to all critically reviewed data of a substance."""
HIGHEST_PRESSURE = 2.3e7
"""Pa; water has the highest critical pressure of common liquids, 22.06 MPa (IAPWS)."""
LEAST_ENTHALPY = 1.0e4
"""J/mol; a vapour pressure that rises less steeply is none (methane has 8.2 kJ/mol)."""
Points = dict[float, float]
"""T in K -> P in Pa."""


def correlations(cas: str, boiling: float, freezing: float,
                 warnings: list[str]) -> dict[str, Points]:
    """T -> P of every correlation of measured data, inside its range and above melting."""
    from thermo.vapor_pressure import VaporPressure

    model = VaporPressure(CASRN=cas)
    melts = freezing if math.isfinite(freezing) else 0.0
    top = max(480.0, boiling + 10.0) if math.isfinite(boiling) else 550.0
    curves: dict[str, Points] = {}
    for method, (low, high) in model.T_limits.items():
        if method in ESTIMATES or method == "VDI_TABULAR":
            continue
        low, high = max(low, melts - 0.5, 200.0), min(high, top)
        if high <= low:
            warnings.append(f"{method} is of the solid or far outside the range of use, not used")
            continue
        count = max(3, min(25, int((high - low) / 8.0) + 1))
        grid = [float(T) for T in np.linspace(low, high, count)]
        values = {T: calculated(model, T, method) for T in grid}
        if not _possible(values):
            warnings.append(f"{method} gives impossible pressures, not used")
            continue
        curves[method] = values
    return curves


def calculated(model: Any, T: float, method: str) -> float:
    """A property of a ``thermo`` model at T in K; nan where its table cannot be interpolated.

    Some tables give one temperature twice (heat capacity of liquid sulfur).
    """
    try:
        return float(model.calculate(T, method))
    except ValueError:
        return math.nan


def _possible(values: Points) -> bool:
    """Whether pressures are below any critical pressure and rise as an enthalpy demands."""
    if not all(math.isfinite(v) and 0.0 < v < HIGHEST_PRESSURE for v in values.values()):
        return False
    (T1, P1), (T2, P2) = min(values.items()), max(values.items())
    return GAS_CONSTANT * math.log(P2 / P1) / (1.0 / T1 - 1.0 / T2) > LEAST_ENTHALPY


def measured(curves: dict[str, Points], factor: float = 1.0) -> list[Evidence]:
    """Points of the correlations; together they weigh like one measurement of ``factor`` times
    0.8 % (three sources or more), 2 % (two) or 5 % (one); a reference equation of state, where
    there is one, like a measurement of 0.1 %, since it rests on the reviewed data themselves.
    """
    sd = {1: 0.05, 2: 0.02}.get(len(curves), 0.008) * factor
    best = 0.001 * factor
    return [
        Evidence(T, P, (best if method in EQUATIONS_OF_STATE else sd * math.sqrt(len(curves)))
                 * math.sqrt(len(values)), method)
        for method, values in curves.items() for T, P in values.items()
    ]


def doubt(curves: dict[str, Points], points: tuple[Evidence, ...],
          molar_mass: float, heat_capacity: float, warnings: list[str],
          donor: bool = False) -> float:
    """10 when the correlations, carried to a cited measurement, miss it twofold, else 1."""
    if not curves or not points:
        return 1.0
    curve = fit_curve(measured(curves), molar_mass, heat_capacity, donor)
    gap = max(abs(float(ln_pressure(curve.coefficients, p.temperature)) - math.log(p.pressure))
              for p in points)
    if gap <= max(math.log(2.0), 1.5 * max(p.sd for p in points)):
        return 1.0
    warnings.append(f"{', '.join(curves)} carried to {points[0].temperature:.0f} K miss the "
                    f"cited pressure {math.exp(gap):.1f}-fold, little weight given")
    return 10.0


def _straight(values: Points) -> Any:
    """Ln P against 1/T as a quadratic, to compare curves outside their own grid."""
    T = np.array(list(values))
    return np.polynomial.Polynomial.fit(1.0 / T, np.log(list(values.values())),
                                        2 if len(T) > 3 else 1)


def meets_boiling_point(curves: dict[str, Points], boiling: float,
                        boiling_sd: float, warnings: list[str]) -> dict[str, Points]:
    """Drop correlations that miss the boiling point by more than 3 K plus twice its sd."""
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


def meets_own_points(curves: dict[str, Points], points: tuple[Evidence, ...],
                     warnings: list[str]) -> dict[str, Points]:
    """Drop what contradicts a cited measurement twofold and beyond its own uncertainty."""
    kept = {}
    for method, values in curves.items():
        gaps = [
            abs(float(_straight(values)(1.0 / p.temperature)) - math.log(p.pressure))
            for p in points
            if min(values) - 25.0 <= p.temperature <= max(values) + 25.0
        ]
        limits = [max(math.log(2.0), 1.5 * p.sd) for p in points
                  if min(values) - 25.0 <= p.temperature <= max(values) + 25.0]
        if any(gap > limit for gap, limit in zip(gaps, limits, strict=True)):
            warnings.append(f"{method} contradicts a cited vapour pressure, not used")
        else:
            kept[method] = values
    return kept


def without_outliers(curves: dict[str, Points],
                     warnings: list[str]) -> dict[str, Points]:
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


def spread(curves: dict[str, Points]) -> float:
    """Standard deviation of ln P between the sources, where they disagree most at 25-60 degC.

    A source counts within 25 K of its range. At least 0.005, 0.02 where none can be compared.
    """
    found = [0.005]
    compared = False
    for T in WORKING_RANGE:
        values = [float(_straight(v)(1.0 / T)) for v in curves.values()
                  if min(v) - 25.0 <= T <= max(v) + 25.0]
        if len(values) > 1:
            compared = True
            found.append(float(np.std(values)))
    return max(found) if compared else 0.02
