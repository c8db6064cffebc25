"""The fields of the job page: where each lies in a job file, what it is called, its unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from experiments.job import (
    FACTOR_WORDS,
    MAIN_FACTORS,
    Analyte,
    BoilingPoint,
    Equipment,
    Limits,
    Sample,
)
from experiments.wording import capital


@dataclass(frozen=True)
class Field:
    """One field of a job.

    Parameters
    ----------
    path : where the value lies, as faults name it, e.g. ``sample.fill_volume_ml``
    label : what it is called on the screen, without its unit
    kind : "number", "text" or "choice"
    choices : for "choice": value and what is shown
    help : one sentence
    optional : may stay empty
    """

    path: str
    label: str
    kind: str = "number"
    choices: tuple[tuple[str, str], ...] = ()
    help: str = ""
    optional: bool = False

    @property
    def key(self) -> str:
        """The last key of the path, which ends in the unit."""
        return self.path.rsplit(".", 1)[-1]

    @property
    def assumed(self) -> str:
        """What an optional field that stays empty is taken for; empty where that is nothing."""
        table = self.path.split(".")[-2].partition("[")[0] if self.optional else ""
        default = getattr(RECORDS.get(table), self.key, None)
        return default if isinstance(default, str) else "" if default is None else f"{default:g}"


RECORDS = {"equipment": Equipment, "sample": Sample, "limits": Limits, "analytes": Analyte,
           "boiling_point": BoilingPoint}
"""The records whose defaults a job file rests on, by the name of their table."""


VESSEL = (
    Field("equipment.name", "Name of the evaporator", "text"),
    Field("equipment.vessels", "Vessels spinning together"),
    Field("equipment.vessel_capacity_ml", "Volume of a vessel", help="To the brim."),
    Field("equipment.relative_centrifugal_force", "Relative centrifugal force",
          help="Multiples of g at the liquid."),
    Field("equipment.rotor_radius_mm", "Radius, axis to liquid"),
    Field("equipment.condenser_temperature_c", "Condenser temperature"),
    Field("equipment.condenser_capacity_ml", "Trap holds"),
    Field("equipment.ramp_start_pressure_mbar", "Ramp starts at",
          help="Pulled down quickly to here, then linearly at the ramp rate."),
    Field("equipment.ultimate_pressure_mbar", "Pump reaches",
          help="The lowest pressure the pump can hold."),
    Field("equipment.end_point_load_fraction", "Run stops at this share of the peak load",
          help="Condenser load over its peak, above the empty baseline; 0.1 is 10 %."),
    Field("equipment.end_point_hold_min", "… held for"),
)
VESSEL_MORE = (
    Field("equipment.heating", "Heat reaches the vessel by", "choice",
          (("contact", "contact or vapour"), ("gas gap", "a gas gap")),
          optional=True),
    Field("equipment.condenser_power_w", "Condenser power", optional=True),
    Field("equipment.pump_speed_m3_per_h", "Pump speed", optional=True),
    Field("equipment.chamber_volume_l", "Chamber volume", optional=True),
    Field("equipment.set_temperature_tolerance_c", "Holds set temperature within ±",
          optional=True),
    Field("equipment.end_pressure_tolerance_mbar", "Holds end pressure within ±",
          optional=True),
)
SAMPLE = (
    Field("sample.fill_volume_ml", "Fill of each vessel", help="At 20 °C, without the keeper."),
    Field("sample.max_temperature_c", "Sample must stay below",
          help="Of the sample, not of the wall."),
)
SAMPLE_MORE = (
    Field("sample.residue_mg", "Residue in a dry vessel", optional=True,
          help="Non-volatile matrix left behind; it holds traces back."),
    Field("sample.peroxide_test", "Peroxide test, value and date", "text", optional=True,
          help="Needed before ethers and other peroxide formers are taken to dryness."),
)
END_CONTROL = Field(
    "sample.end_volume_control", "How the end volume is held", "choice",
    (("", "choose …"), ("cold tip", "a cold tip"), ("weighing", "weighing"), ("time", "time")),
    optional=True,
)
KEEPER_VOLUME = Field("sample.keeper.volume_ml", "Keeper in each vessel")
END_VOLUME = Field("sample.end_volume_ml", "End volume")
LIMITS = (
    Field("limits.max_run_time_min", "Run takes at most"),
    Field("limits.handling_min", "Handling of a batch", optional=True),
    Field("limits.assurance", "Asked assurance",
          help="Probability that every “must” analyte's true mean recovery meets its target."),
    Field("limits.trials", "Trials to spend at most"),
    Field("limits.trials_per_batch", "Trials proposed at a time"),
)
SEED = Field("seed", "Seed", help="Of the random choices: same seed, same proposals.")

FACTOR_LABELS = {key: capital(name) for key, (name, _) in FACTOR_WORDS.items()}


def today_fields(factors: Mapping[str, Any]) -> tuple[Field, ...]:
    """The fields of the method in use: what it does of everything that may be varied."""
    numbers = [n for n in FACTOR_LABELS if n in factors and n != "keeper"]
    wanted = tuple(Field(f"today.setting.{n}", FACTOR_LABELS[n])
                   for n in numbers or MAIN_FACTORS)
    keepers = (factors.get("keeper") or {}).get("choices") or ()
    if len(keepers) < 2:
        return wanted
    choices = (("", "choose …"), *((str(k), str(k)) for k in keepers))
    return (*wanted, Field("today.setting.keeper", FACTOR_LABELS["keeper"], "choice", choices))


def analyte_fields(index: int) -> tuple[Field, ...]:
    """The fields of one analyte beyond its name, target and role, but for its properties."""
    at = f"analytes[{index}]"
    return (
        Field(f"{at}.cas", "CAS number", "text", optional=True),
        Field(f"{at}.spike_ug", "Spike", optional=True),
        Field(f"{at}.upper_recovery_percent", "Flag recoveries above", optional=True),
    )


def data_sheet_fields(index: int) -> tuple[Field, ...]:
    """What the data sheet of one analyte gives, in pairs."""
    at = f"analytes[{index}]"
    return (
        Field(f"{at}.molar_mass_g_per_mol", "Molar mass", optional=True),
        Field(f"{at}.smiles", "Structure (SMILES)", "text", optional=True),
        Field(f"{at}.boiling_point.temperature_c", "Boils at", optional=True),
        Field(f"{at}.boiling_point.pressure_mbar", "… under", optional=True),
        Field(f"{at}.vapour_pressure[0].temperature_c", "Vapour pressure known at",
              optional=True),
        Field(f"{at}.vapour_pressure[0].pressure_pa", "… is", optional=True),
    )
