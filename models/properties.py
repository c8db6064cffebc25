"""One substance described for a reader: values with source, range and uncertainty."""

from __future__ import annotations

import math

import numpy as np

from models.errors import ModelError
from models.quantities import ATMOSPHERE, GAS_CONSTANT, REFERENCE_TEMPERATURE, celsius
from models.substances import Substance, find_substance
from models.volatility import RANGE, REFERENCE, boiling_temperature, enthalpy, pressure

COLDEST, HOTTEST = RANGE


def vapour_pressure_sd(substance: Substance, temperature_k: float) -> float:
    """One standard deviation of ln P at T in K: as at 313 K, growing away from the data.

    3 % of the enthalpy of vaporisation over the distance to the nearer end of the data, or to
    313 K where their range is not known, is added in quadrature.
    """
    low, high = substance.ln_p_range
    anchor = min(max(temperature_k, low), high) if math.isfinite(low) else REFERENCE
    h = float(enthalpy(substance.ln_p, REFERENCE)) / GAS_CONSTANT
    growth = 0.03 * h * abs(1.0 / temperature_k - 1.0 / anchor)
    return math.hypot(substance.ln_p_sd, growth)


def enthalpy_of_vaporisation(substance: Substance, temperature_k: float) -> float:
    """J/mol at T in K from the fitted quadratic; from the slope of the curve outside it."""
    h0, h1, h2 = substance.h_vap
    value = float(h0 + h1 * temperature_k + h2 * temperature_k**2)
    return value if value > 0 else float(enthalpy(substance.ln_p, temperature_k))


def describe_substance(name: str, temperature_k: float = 298.15) -> dict[str, object]:
    """The contract's answer to ``boilwright substance``, and points of the curve to draw.

    Keys: ``name, cas, molar_mass_g_per_mol, vapour_pressure_pa`` (liquid, sub-cooled below
    melting), ``vapour_pressure_factor_95``, ``vapour_pressure_source``,
    ``vapour_pressure_range_c`` (low, high or None), ``normal_boiling_point_c``,
    ``boiling_point_is_estimate``, ``freezing_point_c``, ``enthalpy_of_vaporisation_j_per_mol``,
    ``density_kg_per_m3`` and its ``density_temperature_c`` (20, as all volumes are), ``sources``,
    ``warnings``, ``curve`` [{temperature_c, pressure_pa}], ``points`` [{temperature_c,
    pressure_pa, source}], the data behind the curve.

    Raises
    ------
    UnknownSubstance
        When it is not known.
    ModelError
        For a temperature outside 200-470 K.
    """
    if not COLDEST <= temperature_k <= HOTTEST:
        raise ModelError(
            f"{celsius(temperature_k):g} degC is outside the curves' range, -73 to 197 degC.",
            "Choose a temperature within it.",
        )
    s = find_substance(name)
    measured = math.isfinite(s.boiling_temperature)
    boiling = s.boiling_temperature if measured else _estimated_boiling(s)
    low, high = s.ln_p_range
    grid = np.linspace(250.0, 450.0, 41)
    return {
        "name": s.name,
        "cas": s.cas,
        "molar_mass_g_per_mol": 1000.0 * s.molar_mass,
        "vapour_pressure_pa": float(pressure(s.ln_p, temperature_k)),
        "vapour_pressure_factor_95": math.exp(1.96 * vapour_pressure_sd(s, temperature_k)),
        "vapour_pressure_source": s.sources.get("vapour pressure", ""),
        "vapour_pressure_range_c": [celsius(low), celsius(high)] if math.isfinite(low) else None,
        "normal_boiling_point_c": None if boiling is None else celsius(boiling),
        "boiling_point_is_estimate": not measured,
        "freezing_point_c": (celsius(s.freezing_temperature)
                             if math.isfinite(s.freezing_temperature) else None),
        "enthalpy_of_vaporisation_j_per_mol": enthalpy_of_vaporisation(s, temperature_k),
        "density_kg_per_m3": s.density,
        "density_temperature_c": celsius(REFERENCE_TEMPERATURE),
        "sources": dict(s.sources),
        "warnings": list(s.warnings),
        "curve": [{"temperature_c": celsius(float(T)), "pressure_pa": float(pressure(s.ln_p, T))}
                  for T in grid],
        "points": [{"temperature_c": celsius(T), "pressure_pa": P, "source": source}
                   for T, P, source in s.points],
    }


def _estimated_boiling(s: Substance) -> float | None:
    """Normal boiling point in K from the curve, None where that lies beyond its range."""
    if float(pressure(s.ln_p, HOTTEST)) < ATMOSPHERE:
        return None
    return boiling_temperature(s.ln_p, ATMOSPHERE)
