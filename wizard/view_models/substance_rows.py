"""A substance and a mixture as lines and rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from experiments.substance_text import in_print, range_sentence
from wizard.units import Units, figure


def substance_lines(found: Mapping[str, Any], temperature_c: float, units: Units) -> list[str]:
    """Values with unit and source, one line each."""
    sources = found["sources"]
    factor = found["vapour_pressure_factor_95"]
    at = units.text("_c", temperature_c)
    lines = [
        f"**Vapour pressure at {at}**: {_pressure(found['vapour_pressure_pa'])} of the liquid; "
        f"the truth is within a factor of {figure(factor)} (95 %). "
        f"{_from(sources, 'vapour pressure')} {range_sentence(found)}",
        _boiling(found, sources),
        f"**Molar mass**: {figure(found['molar_mass_g_per_mol'], 5)} g/mol",
        f"**Enthalpy of vaporisation at {at}**: "
        f"{figure(found['enthalpy_of_vaporisation_j_per_mol'] / 1000)} kJ/mol. "
        f"{_from(sources, 'enthalpy of vaporisation')}",
        f"**Density at 20 °C**: {figure(found['density_kg_per_m3'], 4)} kg/m³. "
        f"{_from(sources, 'density')}",
    ]
    if found.get("freezing_point_c") is not None:
        lines.insert(2, f"**Freezes** at {units.text('_c', found['freezing_point_c'])}. "
                        f"{_from(sources, 'freezing point')}")
    return [units.sentence(line) for line in lines]


def _pressure(pascal: float) -> str:
    """In mbar where solvents boil, in Pa where traces evaporate."""
    return f"{figure(pascal / 100)} mbar" if pascal >= 100 else f"{figure(pascal)} Pa"


def _boiling(found: Mapping[str, Any], sources: Mapping[str, str]) -> str:
    value = found["normal_boiling_point_c"]
    if value is None:
        return "**Boils** above 197 degC under 1013.25 mbar; where, is not known."
    origin = ("An estimate." if found["boiling_point_is_estimate"]
              else _from(sources, "boiling point"))
    return f"**Boils** at {value:.1f} degC under 1013.25 mbar. {origin}"


def _from(sources: Mapping[str, str], name: str) -> str:
    return f"Source: {in_print(sources[name])}." if sources.get(name) else ""


def source_notes(found: Mapping[str, Any], units: Units) -> list[str]:
    """What the sources of a substance disagree on or lack."""
    return [units.sentence(in_print(str(line))) for line in found["warnings"]]


def curve_rows(found: Mapping[str, Any], units: Units) -> list[dict[str, float]]:
    """The vapour-pressure curve in the reader's units."""
    return [
        {"t": units.shown("_c", p["temperature_c"]),
         "p": units.shown("_mbar", p["pressure_pa"] / 100.0)}
        for p in found["curve"]
    ]


def point_rows(found: Mapping[str, Any], units: Units) -> list[dict[str, float | str]]:
    """The data behind the curve, within its span, in the reader's units."""
    low, high = (found["curve"][i]["temperature_c"] for i in (0, -1))
    return [
        {"t": units.shown("_c", p["temperature_c"]),
         "p": units.shown("_mbar", p["pressure_pa"] / 100.0), "source": p["source"]}
        for p in found["points"] if low <= p["temperature_c"] <= high
    ]


def mixture_lines(found: Mapping[str, Any], units: Units) -> list[str]:
    """Bubble point and azeotrope in sentences."""
    lines = [f"The mixture begins to boil at {found['bubble_point_c']:.1f} degC."]
    azeotrope = found["azeotrope"]
    if azeotrope:
        shares = ", ".join(
            f"{100 * x:.0f} mol % {n}" for n, x in azeotrope["mole_fraction"].items()
        )
        lines.append(f"There is an azeotrope at {azeotrope['temperature_c']:.1f} degC: {shares}.")
    return [units.sentence(line) for line in (*lines, *found["warnings"])]


def mixture_rows(parts: Mapping[str, float], found: Mapping[str, Any]) -> list[dict[str, str]]:
    """Liquid, vapour and activity coefficient of each component."""
    return [
        {"component": n, "in the liquid, mol %": f"{100 * x:.1f}",
         "in the vapour, mol %": f"{100 * found['vapour_mole_fraction'][n]:.1f}",
         "activity coefficient": f"{found['activity_coefficient'][n]:.2f}"}
        for n, x in parts.items()
    ]
