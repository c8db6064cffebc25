"""The job: what to evaporate, in what, within which limits. Frozen records in contract units.

Pressures in mbar absolute, temperatures in degC, volumes at 20 degC in mL, times in min,
recoveries in percent; conversion to SI happens once, in :mod:`experiments.physics`.
Files and mappings are read by :mod:`experiments.job_file`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

Setting = dict[str, float | str]
"""A value for every factor, fixed ones too; numbers in contract units, keeper by name."""

MAIN_FACTORS = ("set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar")
EXTRA_FACTORS = ("keeper_volume_ml", "end_volume_ml", "end_point_hold_min", "keeper")
DEFAULT_STEP = {
    "set_temperature_c": 1.0,
    "ramp_rate_mbar_per_min": 1.0,
    "end_pressure_mbar": 1.0,
    "keeper_volume_ml": 0.1,
    "end_volume_ml": 0.1,
    "end_point_hold_min": 0.5,
}
"""What equipment can usually dial, in the unit of the factor."""
FACTOR_WORDS = {
    "set_temperature_c": ("set temperature", "°C"),
    "ramp_rate_mbar_per_min": ("ramp rate", "mbar/min"),
    "end_pressure_mbar": ("end pressure", "mbar"),
    "keeper_volume_ml": ("keeper volume", "mL"),
    "end_volume_ml": ("end volume", "mL"),
    "end_point_hold_min": ("end-point hold", "min"),
    "keeper": ("keeper", ""),
}
"""Name and unit of each factor, for sentences, tables and fields."""


@dataclass(frozen=True)
class Factor:
    """One thing the analyst can set: numeric between low and high, or one of ``choices``.

    A fixed factor has ``low == high`` or a single choice.
    """

    name: str
    low: float = 0.0
    high: float = 0.0
    step: float | None = None
    choices: tuple[str, ...] = ()

    @property
    def first_value(self) -> float | str:
        """The first choice, or the low end of the window."""
        return self.choices[0] if self.choices else self.low

    @property
    def is_fixed(self) -> bool:
        return len(self.choices) == 1 if self.choices else self.low == self.high

    @property
    def resolution(self) -> float:
        """Smallest change the equipment can dial, in the factor's unit."""
        return self.step if self.step is not None else DEFAULT_STEP.get(self.name, 0.0)


@dataclass(frozen=True)
class Equipment:
    """The evaporator as the job file gives it; ``assumed`` names the defaults used."""

    name: str
    vessels: int
    vessel_capacity_ml: float
    relative_centrifugal_force: float
    rotor_radius_mm: float
    condenser_temperature_c: float
    condenser_capacity_ml: float
    ramp_start_pressure_mbar: float
    ultimate_pressure_mbar: float
    end_point_load_fraction: float
    end_point_hold_min: float
    heating: str = "contact"
    condenser_power_w: float = 500.0
    pump_speed_m3_per_h: float = 2.5
    chamber_volume_l: float = 30.0
    set_temperature_tolerance_c: float = 1.0
    end_pressure_tolerance_mbar: float = 2.0
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class SolventShare:
    """A solvent of the fill and its share by volume."""

    name: str
    volume_fraction: float


@dataclass(frozen=True)
class Keeper:
    """A solvent that stays behind, on top of the fill."""

    name: str
    volume_ml: float


@dataclass(frozen=True)
class Sample:
    """What sits in each vessel and down to what it is evaporated."""

    fill_volume_ml: float
    solvents: tuple[SolventShare, ...]
    max_temperature_c: float
    keeper: Keeper | None = None
    end_volume_ml: float = 0.0
    end_volume_control: str = ""
    residue_mg: float = 1.0
    peroxide_test: str = ""
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class VapourPressurePoint:
    """One vapour pressure of a data sheet."""

    temperature_c: float
    pressure_pa: float


@dataclass(frozen=True)
class BoilingPoint:
    """A boiling point of a data sheet, also at reduced pressure."""

    temperature_c: float
    pressure_mbar: float = 1013.25


@dataclass(frozen=True)
class Analyte:
    """An analyte of the library, or a new one with what its data sheet gives."""

    name: str
    target_recovery_percent: float
    cas: str = ""
    upper_recovery_percent: float = 120.0
    spike_ug: float = 10.0
    role: str = "must"  # must | watch
    molar_mass_g_per_mol: float | None = None
    vapour_pressure: tuple[VapourPressurePoint, ...] = ()
    boiling_point: BoilingPoint | None = None
    smiles: str = ""
    assumed: tuple[str, ...] = ()

    @property
    def is_new(self) -> bool:
        """Whether the job gives its own data instead of relying on the library."""
        return bool(self.vapour_pressure or self.boiling_point or self.smiles)


@dataclass(frozen=True)
class Limits:
    """How long, how sure, how many trials."""

    max_run_time_min: float = 240.0
    handling_min: float = 20.0
    assurance: float = 0.95
    trials: int = 12
    trials_per_batch: int = 3
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class EvaporationJob:
    """Everything that is asked for, checked."""

    title: str
    seed: int
    equipment: Equipment
    factors: tuple[Factor, ...]
    sample: Sample
    analytes: tuple[Analyte, ...]
    limits: Limits
    today: Setting | None = None

    def factor(self, name: str) -> Factor:
        """The factor of that name; KeyError when the job does not have it."""
        for factor in self.factors:
            if factor.name == name:
                return factor
        raise KeyError(name)

    @property
    def free_factors(self) -> tuple[Factor, ...]:
        return tuple(f for f in self.factors if not f.is_fixed)

    def sample_at(self, setting: Setting) -> Sample:
        """The sample as a setting evaporates it: its keeper, keeper volume and end volume."""
        sample = self.sample
        keeper = sample.keeper and Keeper(
            str(setting.get("keeper", sample.keeper.name)),
            float(setting.get("keeper_volume_ml", sample.keeper.volume_ml)))
        end = float(setting.get("end_volume_ml", sample.end_volume_ml))
        return replace(sample, keeper=keeper, end_volume_ml=end)

    @property
    def must(self) -> tuple[Analyte, ...]:
        return tuple(a for a in self.analytes if a.role == "must")

    @property
    def keepers(self) -> tuple[str, ...]:
        """Names of the keepers a setting may use, the usual one first; empty without any."""
        choices = next((f.choices for f in self.factors if f.name == "keeper"), ())
        keeper = self.sample.keeper
        return choices or ((keeper.name,) if keeper is not None else ())

    @property
    def may_go_dry(self) -> bool:
        """Whether a setting may leave nothing liquid: no keeper, and an end volume of zero."""
        ends = [f.low for f in self.factors if f.name == "end_volume_ml"]
        return self.sample.keeper is None and (*ends, self.sample.end_volume_ml)[0] == 0

    @property
    def condensate_ml(self) -> float:
        """What a batch of full vessels may bring into the trap, mL."""
        return self.equipment.vessels * self.sample.fill_volume_ml

    @property
    def batches_in_trap(self) -> int:
        """How many batches the trap takes before it must be emptied; 0: not even one."""
        return int(self.equipment.condenser_capacity_ml / self.condensate_ml + 1e-9)

    @property
    def trap_sentence(self) -> str:
        """When to empty the trap."""
        held = self.batches_in_trap
        when = ("during the batch, or load less" if held == 0 else
                "before each batch" if held == 1 else f"after {held} batches at the latest")
        return (f"A batch makes up to {self.condensate_ml:g} mL of condensate and the trap holds "
                f"{self.equipment.condenser_capacity_ml:g} mL: empty it {when}.")
