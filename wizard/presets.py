"""Starting points of our own for a new job: evaporators, solvents, lists of analytes.

They fill fields that the analyst then changes; nothing of them is remembered in the job.
Loads, vessels and lists are invented, though usual in kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Table = Mapping[str, Any]

EVAPORATORS: dict[str, Table] = {
    "12 tubes of 100 mL, cold trap at −45 °C": {
        "name": "Evaporator with 12 tubes", "vessels": 12, "vessel_capacity_ml": 100,
        "relative_centrifugal_force": 420, "rotor_radius_mm": 200,
        "condenser_temperature_c": -45, "condenser_capacity_ml": 1500,
        "ramp_start_pressure_mbar": 700, "ultimate_pressure_mbar": 2,
        "end_point_load_fraction": 0.1, "end_point_hold_min": 2,
        "heating": "contact", "condenser_power_w": 450,
    },
    "8 flasks of 250 mL, chilled condenser at −10 °C": {
        "name": "Evaporator with 8 flasks", "vessels": 8, "vessel_capacity_ml": 250,
        "relative_centrifugal_force": 350, "rotor_radius_mm": 180,
        "condenser_temperature_c": -10, "condenser_capacity_ml": 2000,
        "ramp_start_pressure_mbar": 750, "ultimate_pressure_mbar": 1,
        "end_point_load_fraction": 0.1, "end_point_hold_min": 3,
        "heating": "contact", "condenser_power_w": 500,
    },
    "24 vials of 40 mL, cold trap at −50 °C": {
        "name": "Evaporator with 24 vials", "vessels": 24, "vessel_capacity_ml": 40,
        "relative_centrifugal_force": 300, "rotor_radius_mm": 160,
        "condenser_temperature_c": -50, "condenser_capacity_ml": 1000,
        "ramp_start_pressure_mbar": 500, "ultimate_pressure_mbar": 1,
        "end_point_load_fraction": 0.12, "end_point_hold_min": 3,
        "heating": "contact", "condenser_power_w": 350,
    },
    "48 vials of 20 mL, warmed across a gas gap": {
        "name": "Evaporator with 48 vials", "vessels": 48, "vessel_capacity_ml": 20,
        "relative_centrifugal_force": 450, "rotor_radius_mm": 210,
        "condenser_temperature_c": -60, "condenser_capacity_ml": 1500,
        "ramp_start_pressure_mbar": 600, "ultimate_pressure_mbar": 1,
        "end_point_load_fraction": 0.1, "end_point_hold_min": 4,
        "heating": "gas gap", "condenser_power_w": 600,
    },
}

SOLVENTS: dict[str, Table] = {
    "Dichloromethane": {
        "solvents": [("dichloromethane", 1.0)],
        "set_temperature_c": (25, 55), "end_pressure_mbar": (20, 300), "max_temperature_c": 50,
    },
    "Ethyl acetate": {
        "solvents": [("ethyl acetate", 1.0)],
        "set_temperature_c": (30, 65), "end_pressure_mbar": (5, 120), "max_temperature_c": 60,
    },
    "n-Hexane": {
        "solvents": [("n-hexane", 1.0)],
        "set_temperature_c": (25, 60), "end_pressure_mbar": (10, 200), "max_temperature_c": 55,
    },
    "Acetone and n-hexane, half and half": {
        "solvents": [("acetone", 0.5), ("n-hexane", 0.5)],
        "set_temperature_c": (25, 60), "end_pressure_mbar": (10, 250), "max_temperature_c": 55,
    },
    "Methanol": {
        "solvents": [("methanol", 1.0)],
        "set_temperature_c": (30, 65), "end_pressure_mbar": (5, 150), "max_temperature_c": 60,
    },
    "Acetonitrile": {
        "solvents": [("acetonitrile", 1.0)],
        "set_temperature_c": (30, 65), "end_pressure_mbar": (5, 120), "max_temperature_c": 60,
    },
    "Toluene": {
        "solvents": [("toluene", 1.0)],
        "set_temperature_c": (35, 75), "end_pressure_mbar": (3, 60), "max_temperature_c": 70,
    },
}

ANALYTES: dict[str, tuple[tuple[str, str, float], ...]] = {
    "Polycyclic aromatics, light to heavy": (
        ("naphthalene", "91-20-3", 70), ("acenaphthene", "83-32-9", 80),
        ("fluorene", "86-73-7", 80), ("phenanthrene", "85-01-8", 85), ("pyrene", "129-00-0", 85),
    ),
    "Phthalates": (
        ("dimethyl phthalate", "131-11-3", 85), ("diethyl phthalate", "84-66-2", 85),
        ("dibutyl phthalate", "84-74-2", 90),
    ),
    "Phenols": (
        ("phenol", "108-95-2", 70), ("2-chlorophenol", "95-57-8", 70),
        ("2,4-dichlorophenol", "120-83-2", 75), ("2,4,6-trichlorophenol", "88-06-2", 80),
    ),
    "n-Alkanes from C12 to C20": (
        ("n-dodecane", "112-40-3", 70), ("n-tetradecane", "629-59-4", 80),
        ("n-hexadecane", "544-76-3", 85), ("n-eicosane", "112-95-8", 90),
    ),
    "Flavour compounds": (
        ("limonene", "138-86-3", 70), ("linalool", "78-70-6", 75),
        ("vanillin", "121-33-5", 90),
    ),
}
"""Name, CAS number and a target recovery in percent to start from."""


def analyte_rows(name: str) -> list[dict[str, Any]]:
    """The analytes of a list as rows of a job."""
    return [
        {"name": n, "cas": cas, "target_recovery_percent": target, "role": "must"}
        for n, cas, target in ANALYTES[name]
    ]


def solvent_tables(name: str) -> tuple[list[dict[str, Any]], dict[str, Any], float]:
    """Solvents, factor ranges and sample cap that go with a choice of solvent."""
    chosen = SOLVENTS[name]
    solvents = [{"name": n, "volume_fraction": share} for n, share in chosen["solvents"]]
    low, high = chosen["set_temperature_c"]
    least, most = chosen["end_pressure_mbar"]
    factors = {
        "set_temperature_c": {"low": low, "high": high, "step": 1},
        "ramp_rate_mbar_per_min": {"low": 5, "high": 200, "step": 5},
        "end_pressure_mbar": {"low": least, "high": most, "step": 1},
    }
    return solvents, factors, float(chosen["max_temperature_c"])


def first_draft() -> dict[str, Any]:
    """What a new job starts with: usual limits, and nothing of the sample yet."""
    return {
        "title": "",
        "seed": 1,
        "equipment": {},
        "factors": {},
        "sample": {"solvents": [], "end_volume_ml": 0},
        "analytes": [],
        "limits": {
            "max_run_time_min": 120, "handling_min": 20, "assurance": 0.95,
            "trials": 12, "trials_per_batch": 3,
        },
    }
