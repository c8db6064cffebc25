"""Uncertain parameters of the run model with their priors.

Each is lognormal (or plain normal where ``log`` is false): natural value =
``median * exp(sd * z)`` with z standard normal; the kernels take z. Analyte parameters
(volatility multiplier, ceiling, thermal loss) are handled apart because they do not change
the trajectory of a run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.system import Array


@dataclass(frozen=True)
class Parameter:
    """One uncertain quantity: its prior, its unit and what it means to an analyst."""

    name: str
    group: str  # "equipment" | "sample"
    median: float
    sd: float
    unit: str
    meaning: str
    log: bool = True
    source: str = ""


PARAMETERS: tuple[Parameter, ...] = (
    Parameter("heat_transfer", "equipment", 110.0, 0.30, "W/(m2 K)", "heat transfer",
              source="80-200 in contact, 15-60 across a gas gap (common practice, no source)"),
    Parameter("area_exponent", "equipment", 0.50, 0.15, "1",
              "how the wetted area shrinks with volume", log=False,
              source="geometry: round bottom 1/2, cone 2/3, flat bottom about 1/3"),
    Parameter("vessel_spread", "equipment", 0.08, 0.35, "1",
              "spread between fast and slow vessel positions"),
    Parameter("condenser_limit", "equipment", 1.0, 0.30, "1",
              "condenser duty relative to its stated power"),
    Parameter("start_delay", "equipment", 120.0, 0.6, "s", "time before the vacuum bites"),
    Parameter("boil_over_limit", "equipment", 1.0, 0.90, "1", "boil-over limit",
              source="spread between apparatus and liquids (common practice, no source)"),
    Parameter("warming_time", "equipment", 120.0, 0.40, "s", "time to warm a dry vessel"),
    Parameter("end_sensitivity", "equipment", 1.0, 0.50, "1",
              "condenser load at which the run stops"),
    Parameter("entrainment", "sample", 1.5, 0.50, "1",
              "loss while boiling relative to equilibrium"),
    Parameter("film_transport", "sample", 1.0, 0.9, "1", "loss from the dry film or keeper"),
    Parameter("breakthrough_end", "equipment", -0.25, 1.0, "1",
              "end point noticed where vapour passes the condenser (above 0: yes)", log=False),
    Parameter("hold_up", "sample", 2e-8, 0.7, "m3", "liquid held in a vessel that looks dry"),
    Parameter("left_in_keeper", "sample", 0.5, 0.7, "1",
              "solvent left in a keeper when done",
              source="by volume of the keeper, a tenth to twice (common practice, no source)"),
)

GAS_GAP_HEAT_TRANSFER = 30.0
"""Prior median across a gas gap, W/(m2 K)."""

NAMES: tuple[str, ...] = tuple(p.name for p in PARAMETERS)
INDEX: dict[str, int] = {name: i for i, name in enumerate(NAMES)}


def natural(z: Array, heating: str = "contact") -> Array:
    """Natural values [..., K] of standardised parameters z [..., K]."""
    median = np.array([median_of(p, heating) for p in PARAMETERS])
    sd = np.array([p.sd for p in PARAMETERS])
    log = np.array([p.log for p in PARAMETERS])
    z = np.asarray(z, dtype=float)
    return np.where(log, median * np.exp(sd * z), median + sd * z)


def median_of(parameter: Parameter, heating: str = "contact") -> float:
    """Prior median of a parameter; across a gas gap less heat is transferred."""
    is_gap = heating == "gas gap" and parameter.name == "heat_transfer"
    return GAS_GAP_HEAT_TRANSFER if is_gap else parameter.median
