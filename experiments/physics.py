"""From a job in contract units to the run model in SI: the only place where a job becomes SI."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from experiments.analyte_data import analyte_si
from experiments.job import Analyte, EvaporationJob, Setting
from models.equipment import Equipment, Load
from models.errors import Finding
from models.log_marks import AsSet
from models.mixture import build_system
from models.quantities import MG, MINUTE, ML, kelvin, pascal
from models.run_model import TOLERANCE, RunBatch, simulate
from models.system import Array, LiquidSystem

PATIENCE = 1.6
"""Runs are followed to this multiple of the longest time allowed, so that a run that is a
little too slow is told from one that never ends."""


class PhysicsModel:
    """The run model of one job."""

    def __init__(self, job: EvaporationJob) -> None:
        self.job = job
        self.equipment = equipment_si(job)
        default = self.system(self._keeper({}))
        self.load = load_si(job, default)
        self.spike_mol = self.load.spike_mol

    def system(self, keeper: str | None) -> LiquidSystem:
        """The liquid with that keeper (None: without)."""
        shares = tuple((s.name, s.volume_fraction) for s in self.job.sample.solvents)
        return _system(shares, keeper, self.job.analytes)

    def keepers(self, settings: Sequence[Setting]) -> list[str | None]:
        """Name of the keeper each setting uses."""
        return [self._keeper(s) for s in settings]

    def _keeper(self, setting: Setting) -> str | None:
        if self.job.sample.keeper is None:
            return None
        if "keeper" in setting:
            return str(setting["keeper"])
        return self.job.keepers[0]

    def settings_array(self, settings: Sequence[Setting]) -> Array:
        """Settings in SI, [N, 7], columns of :data:`models.run_inputs.SETTING_COLUMNS`."""
        sample = self.job.sample
        keeper = sample.keeper.volume_ml if sample.keeper is not None else 0.0
        hold = self.job.equipment.end_point_hold_min
        rows = [
            (
                kelvin(float(s["set_temperature_c"])),
                pascal(float(s["ramp_rate_mbar_per_min"])) / MINUTE,
                pascal(float(s["end_pressure_mbar"])),
                sample.fill_volume_ml * ML,
                float(s.get("keeper_volume_ml", keeper)) * ML,
                float(s.get("end_volume_ml", sample.end_volume_ml)) * ML,
                float(s.get("end_point_hold_min", hold)) * MINUTE,
            )
            for s in settings
        ]
        return np.array(rows, dtype=float).reshape(len(rows), 7)

    def simulate(
        self, settings: Sequence[Setting], z: Array, tolerance: float = TOLERANCE
    ) -> RunBatch:
        """Every setting with the parameters z [N, K] or [K] of its row; one keeper only."""
        names = set(self.keepers(settings))
        if len(names) != 1:
            raise ValueError(f"simulate one keeper at a time, not {sorted(map(str, names))}")
        return simulate(
            self.system(names.pop()), self.equipment, self.load, self.settings_array(settings), z,
            tolerance=tolerance,
        )

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the reader should know of the substances."""
        return self.system(self._keeper({})).findings


def equipment_si(job: EvaporationJob) -> Equipment:
    """The evaporator in SI."""
    e = job.equipment
    return Equipment(
        vessels=e.vessels,
        vessel_capacity_m3=e.vessel_capacity_ml * ML,
        relative_centrifugal_force=e.relative_centrifugal_force,
        condenser_temperature_k=kelvin(e.condenser_temperature_c),
        ramp_start_pressure_pa=pascal(e.ramp_start_pressure_mbar),
        ultimate_pressure_pa=pascal(e.ultimate_pressure_mbar),
        end_point_load_fraction=e.end_point_load_fraction,
        heating=e.heating,
        condenser_power_w=e.condenser_power_w,
        pump_speed_m3_per_s=e.pump_speed_m3_per_h / 3600.0,
        chamber_volume_m3=e.chamber_volume_l / 1000.0,
    )


def as_set_si(job: EvaporationJob, setting: Setting) -> AsSet:
    """What was set for a run, as its log is read against it."""
    e = job.equipment
    return AsSet(
        hold=float(setting.get("end_point_hold_min", e.end_point_hold_min)) * MINUTE,
        end_share=e.end_point_load_fraction,
        end_pressure=pascal(max(float(setting["end_pressure_mbar"]), e.ultimate_pressure_mbar)),
        pressure_tolerance=pascal(e.end_pressure_tolerance_mbar),
        wall=kelvin(float(setting["set_temperature_c"])),
        wall_tolerance=e.set_temperature_tolerance_c,
    )


def load_si(job: EvaporationJob, system: LiquidSystem) -> Load:
    """What sits in each vessel, in SI."""
    spikes = np.array([a.spike_ug * 1e-9 for a in job.analytes]) / system.analyte_molar_mass
    return Load(
        residue_kg=job.sample.residue_mg * MG,
        spike_mol=spikes,
        end_volume_control=job.sample.end_volume_control,
        max_run_time_s=PATIENCE * job.limits.max_run_time_min * MINUTE,
        max_temperature_k=kelvin(job.sample.max_temperature_c),
    )


@lru_cache(maxsize=128)
def _system(
    solvents: tuple[tuple[str, float], ...], keeper: str | None, analytes: tuple[Analyte, ...]
) -> LiquidSystem:
    return build_system(solvents, keeper, [analyte_si(a) for a in analytes])
