"""Constants of the ``chemicals`` and ``thermo`` libraries beside the vapour pressure.

Density, heat capacity, flash and ignition figures and the groups of UNIFAC, each with its source;
our own cited values (:mod:`models.cited_values`) come first.
"""

from __future__ import annotations

import math
from typing import Any

from models.cited_values import own_values
from models.pressure_sources import calculated

DENSITY_SOURCES = ("HEOS_FIT", "COOLPROP", "DIPPR_PERRY_8E", "VDI_PPDS", "VDI_TABULAR",
                   "CRC_INORG_L_CONST")
HEAVIEST = 14000.0  # kg/m3; mercury has 13546


def density_of(name: str, cas: str, molar_mass: float) -> tuple[float, str]:
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
        volume = calculated(model, T, method)
        if math.isfinite(volume) and 500.0 < molar_mass / volume < HEAVIEST:
            return molar_mass / volume * (1.0 + 1.0e-3 * (T - 293.15)), method
    return 1000.0, "not known, 1000 kg/m3 assumed"


def heat_capacity_of(cas: str, molar_mass: float) -> tuple[float, str]:
    """J/(mol K) of the liquid near 298 K, and its source."""
    from thermo.heat_capacity import HeatCapacityLiquid

    model = HeatCapacityLiquid(CASRN=cas)
    for method, (low, high) in model.T_limits.items():
        if method in {"ROWLINSON_POLING", "ROWLINSON_BONDI", "DADGOSTAR_SHAW"}:
            continue
        T = min(max(298.15, low), high)
        if abs(T - 298.15) < 80.0:
            value = calculated(model, T, method)
            if 1000.0 < value / molar_mass < 5000.0 or (0.6e3 < value / molar_mass <= 1000.0):
                return value, method
    return 1700.0 * molar_mass, "not known, 1.7 J/(g K) assumed"


def flammability(cas: str, notes: list[str]) -> tuple[
        tuple[float, str], tuple[float, str], float]:
    """Lowest flash and ignition temperatures with the standard, and the flammable limit."""
    from chemicals import LFL, T_autoignition, T_flash
    from chemicals.safety import LFL_methods, T_autoignition_methods, T_flash_methods

    standards = ("IEC 60079-20-1 (2010)", "NFPA 497 (2008)")

    def lowest(function: Any, methods: Any) -> tuple[float, str]:
        found = [(float(function(cas, method=m)), m) for m in methods(cas)
                 if m in standards]
        return min(found, default=(math.nan, ""))

    limits = [float(LFL(CASRN=cas, method=m)) for m in LFL_methods(CASRN=cas) if m in standards]
    if any(v <= 0 for v in limits):
        notes.append("a lower flammable limit that is not positive was dropped")
    limit = min((v for v in limits if v > 0), default=math.nan)
    return (lowest(T_flash, T_flash_methods), lowest(T_autoignition, T_autoignition_methods),
            limit)


def unifac_groups(found: Any) -> tuple[dict[int, int], dict[int, int]]:
    """Subgroup counts for original and modified (Dortmund) UNIFAC."""
    from thermo import unifac

    unifac.load_group_assignments_DDBST()
    key = found.InChI_key
    return (dict(unifac.DDBST_UNIFAC_assignments.get(key, {})),
            dict(unifac.DDBST_MODIFIED_UNIFAC_assignments.get(key, {})))
