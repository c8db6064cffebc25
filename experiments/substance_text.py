"""The properties of a substance in words: values, where they are from, how sure they are."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

SOURCES = {
    "ANTOINE_WEBBOOK": "NIST Chemistry WebBook (Antoine)",
    "WAGNER_MCGARRY": "McGarry 1983 (Wagner)",
    "WAGNER_POLING": "Poling, Prausnitz and O'Connell 2001 (Wagner)",
    "ANTOINE_POLING": "Poling, Prausnitz and O'Connell 2001 (Antoine)",
    "ANTOINE_EXTENDED_POLING": "Poling, Prausnitz and O'Connell 2001 (extended Antoine)",
    "POLING_CONST": "Poling, Prausnitz and O'Connell 2001",
    "DIPPR_PERRY_8E": "Perry's Handbook, 8th edition",
    "VDI_PPDS": "VDI Heat Atlas (equation)",
    "VDI_TABULAR": "VDI Heat Atlas (table)",
    "LANDOLT": "Landolt-Börnstein",
    "COOLPROP": "reference equation of state",
    "HEOS_FIT": "reference equation of state (fitted)",
    "HEOS": "reference equation of state",
    "IAPWS_PSAT": "IAPWS-95",
    "CRC_ORG": "CRC Handbook",
    "CRC_INORG": "CRC Handbook",
    "CRCSTD": "CRC Handbook",
    "COMMON_CHEMISTRY": "CAS Common Chemistry",
    "WEBBOOK": "NIST Chemistry WebBook",
    "WIKIDATA": "Wikidata",
    "YAWS": "Yaws",
    "OPEN_NTBKM": "open melting-point collection",
    "ALCOCK_ELEMENTS": "Alcock, Itkin and Horrigan 1984",
    "HUBER_LAESECKE_FRIEND_2006": "Huber, Laesecke and Friend 2006",
    "CRC_INORG_L_CONST": "CRC Handbook",
    "ZABRANSKY_SPLINE": "Zábranský (heat capacities)",
}
"""Names of the property library's tables, as they are known in print."""


GRADE = re.compile(r"from memory, D (high|medium|low)")


def in_print(text: str) -> str:
    """A source or a note with the library's keys and our grades in words that are in print."""
    for key in sorted(SOURCES, key=len, reverse=True):
        text = text.replace(key, SOURCES[key])
    return GRADE.sub(r"from memory, \1 confidence", text)


def range_sentence(found: Mapping[str, Any]) -> str:
    """Where the data behind the vapour pressure lie, and whether the temperature is outside."""
    span = found["vapour_pressure_range_c"]
    if span is None:
        return "There is no range of data: one point or an estimate."
    return f"Data from {span[0]:.0f} to {span[1]:.0f} degC."


def substance_sentences(found: Mapping[str, Any], temperature_c: float) -> list[str]:
    """One line for each property of :func:`models.properties.describe_substance`."""
    sources = {k: in_print(v) for k, v in found["sources"].items()}

    def source(name: str) -> str:
        return f" Source: {sources[name]}." if name in sources else ""

    boiling = found["normal_boiling_point_c"]
    lines = [
        f"{found['name']}, CAS {found['cas']}, {found['molar_mass_g_per_mol']:.2f} g/mol",
        f"Vapour pressure at {temperature_c:g} degC: {found['vapour_pressure_pa']:.3g} Pa of the "
        f"liquid, true within a factor of {found['vapour_pressure_factor_95']:.3g} (95 %)."
        f"{source('vapour pressure')} {range_sentence(found)}",
        "Boils above 197 degC under 1013.25 mbar; where, is not known." if boiling is None else
        f"Boils at {boiling:.1f} degC under 1013.25 mbar."
        + (" Read from the curve." if found["boiling_point_is_estimate"]
           else source("boiling point")),
        f"Enthalpy of vaporisation at {temperature_c:g} degC: "
        f"{found['enthalpy_of_vaporisation_j_per_mol'] / 1000:.1f} kJ/mol."
        f"{source('enthalpy of vaporisation')}",
        f"Density at 20 degC: {found['density_kg_per_m3']:.0f} kg/m3.{source('density')}",
    ]
    if found["freezing_point_c"] is not None:
        lines.insert(3, f"Freezes at {found['freezing_point_c']:.1f} degC."
                        f"{source('freezing point')}")
    notes = [in_print(str(w)) for w in found["warnings"]]
    return [*lines, *(["Found in the sources:", *(f"- {n}" for n in notes)] if notes else [])]


def point_lines(found: Mapping[str, Any]) -> list[list[str]]:
    """Data behind the curve: degC, Pa, source."""
    return [[f"{p['temperature_c']:.1f}", f"{p['pressure_pa']:.4g}", in_print(p["source"])]
            for p in found["points"]]
