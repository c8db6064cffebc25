"""Random evaporation jobs with their hidden truth, for the physical bench family.

Equipment, solvents, keeper, end point and true closures are drawn first; analytes and
targets are then chosen so that the feasible region has the wanted size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from experiments.job import Setting
from experiments.studies import bench_liquids as liquids
from experiments.studies.bench import FreeFactor, Mapping
from experiments.studies.bench_records import Liquid, Rig
from models.system import Array

GEOMETRY = ((4, 400.0), (6, 400.0), (6, 250.0), (8, 250.0), (8, 100.0), (12, 100.0), (12, 60.0))
ZERO = 273.15


@dataclass(frozen=True)
class Scene:
    """Everything of a physical bench but its analytes and targets."""

    vessels: int
    capacity_ml: float
    fill_ml: float
    solvents: tuple[str, ...]
    fractions: tuple[float, ...]
    keeper: str
    keeper_ml: float
    end_volume_ml: float
    control: str
    residue_mg: float
    heating: str
    condenser_c: float
    ramp_start: float
    load_fraction: float
    hold_min: float
    power_w: float
    pump_m3_h: float
    chamber_l: float
    rcf: float
    radius_mm: float
    free: tuple[FreeFactor, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return self.solvents + ((self.keeper,) if self.keeper else ())

    @property
    def fixed(self) -> Setting:
        """Values of the factors that are no free factors."""
        values: Setting = {
            "end_point_hold_min": self.hold_min,
            "end_volume_ml": self.end_volume_ml,
        }
        if self.keeper:
            values |= {"keeper": self.keeper, "keeper_volume_ml": self.keeper_ml}
        return {k: v for k, v in values.items() if k not in {f.name for f in self.free}}


def draw_scene(rng: np.random.Generator) -> Scene:
    """Equipment, load and window of one bench."""
    vessels, capacity = GEOMETRY[rng.integers(len(GEOMETRY))]
    fill = float(np.round(capacity * rng.uniform(0.25, 0.55)))
    if rng.uniform() < 0.65:
        solvents: tuple[str, ...] = (str(rng.choice(liquids.MAIN_SOLVENTS)),)
        fractions: tuple[float, ...] = (1.0,)
    else:
        solvents = liquids.PAIRS[rng.integers(len(liquids.PAIRS))]
        first = float(np.round(rng.uniform(0.2, 0.8), 1))
        fractions = (first, round(1.0 - first, 1))
    ending = rng.choice(["dry", "keeper", "cold tip", "weighing"], p=[0.5, 0.3, 0.1, 0.1])
    keeper, keeper_ml, end_ml, control = "", 0.0, 0.0, ""
    if ending == "keeper":
        shared = [k for k in liquids.KEEPERS[solvents[-1]] if k in liquids.KEEPERS[solvents[0]]]
        if shared:
            keeper = str(rng.choice(shared))
            keeper_ml = float(np.round(rng.uniform(0.3, 0.03 * fill + 0.5), 1))
    elif ending != "dry":
        control = str(ending)
        end_ml = float(np.round(rng.uniform(0.005, 0.03) * fill + 0.2, 1))
    heating = "gas gap" if rng.uniform() < 0.15 else "contact"
    condenser = _condenser_temperature(solvents, rng)
    hold = float(rng.choice([1.0, 2.0, 3.0, 5.0]))
    volume = vessels * fill
    return Scene(
        vessels, capacity, fill, solvents, fractions, keeper, keeper_ml, end_ml, control,
        residue_mg=float(np.round(10 ** rng.uniform(-0.3, 1.0), 1)),
        heating=heating,
        condenser_c=condenser,
        ramp_start=float(rng.choice([600.0, 750.0, 900.0])),
        load_fraction=float(rng.choice([0.03, 0.05, 0.08])),
        hold_min=hold,
        power_w=float(np.round(rng.uniform(250.0, 600.0) + 0.5 * volume * rng.uniform(0.2, 1.0))),
        pump_m3_h=float(np.round(rng.uniform(1.5, 5.0), 1)),
        chamber_l=float(np.round(rng.uniform(15.0, 45.0))),
        rcf=float(np.round(rng.uniform(200.0, 500.0))),
        radius_mm=float(np.round(rng.uniform(120.0, 250.0))),
        free=_window(solvents, heating, keeper_ml, rng),
    )


def _condenser_temperature(solvents: tuple[str, ...], rng: np.random.Generator) -> float:
    """A usual condenser temperature that holds the most volatile solvent well enough."""
    limit = 100.0 * 10 ** rng.uniform(0.7, 1.7)
    for celsius in (-10.0, -20.0, -35.0, -50.0):
        if max(liquids.saturation_pressure(s, celsius + ZERO) for s in solvents) < limit:
            return celsius
    return -60.0


def _window(
    solvents: tuple[str, ...], heating: str, keeper_ml: float, rng: np.random.Generator
) -> tuple[FreeFactor, ...]:
    """Free factors: the three usual ones, at times the keeper volume or the hold."""
    low = float(rng.choice([25.0, 30.0]))
    high = float(rng.choice([50.0, 60.0, 70.0])) + (10.0 if heating == "gas gap" else 0.0)
    heaviest = min(liquids.saturation_pressure(s, high - 12.0 + ZERO) for s in solvents) / 100.0
    top = float(np.clip(np.round(rng.uniform(0.5, 1.0) * heaviest, -1), 40.0, 400.0))
    factors = [
        FreeFactor("set_temperature_c", low, high),
        FreeFactor("ramp_rate_mbar_per_min", 5.0, float(rng.choice([100.0, 200.0, 300.0]))),
        FreeFactor("end_pressure_mbar", float(rng.choice([3.0, 5.0, 10.0])), top),
    ]
    if keeper_ml > 0 and rng.uniform() < 0.35:
        factors.append(FreeFactor("keeper_volume_ml", 0.2, round(3.0 * keeper_ml + 0.4, 1)))
    elif rng.uniform() < 0.15:
        factors.append(FreeFactor("end_point_hold_min", 1.0, 8.0))
    return tuple(factors)


def draw_rig(scene: Scene, rng: np.random.Generator) -> Rig:
    """The true evaporator behind the scene."""
    count = scene.vessels
    spread = rng.uniform(0.05, 0.12)
    if rng.uniform() < 0.5:  # inner and outer ring
        ring = np.where(np.arange(count) % 2 == 0, 1.0, -1.0) * spread
        position = 1.0 + ring + 0.3 * spread * rng.standard_normal(count)
    else:  # a few lagging positions
        position = 1.0 - spread * (rng.gamma(1.2, 1.0, count) - 1.2)
    capacity = scene.capacity_ml * 1e-6
    gap = scene.heating == "gas gap"
    return Rig(
        position=np.clip(position / position.mean(), 0.6, 1.5),
        dry_volume=2e-8 * np.exp(rng.normal(0.0, 0.5) + 0.2 * rng.standard_normal(count)),
        warming=120.0 * np.exp(rng.normal(0.0, 0.35) + 0.1 * rng.standard_normal(count)),
        laws=np.array([rng.integers(3), int(gap), int(rng.uniform() < 0.5)]),
        heat_transfer=float((38.0 if gap else 115.0) * np.exp(rng.normal(0.0, 0.22))),
        full_area=0.020 * (scene.capacity_ml / 400.0) ** (2.0 / 3.0),
        capacity=capacity,
        area_shape=float(rng.uniform(1.5, 4.0)),
        area_floor=float(rng.uniform(0.12, 0.30)),
        film_boiling=float(rng.uniform(60.0, 140.0)),
        glass=float(0.12 * scene.capacity_ml * rng.uniform(0.5, 1.5)),
        wall_lag=float(rng.uniform(0.0, 150.0)),
        start_delay=float(rng.uniform(30.0, 240.0)),
        ramp_start=scene.ramp_start * 100.0,
        pump=scene.pump_m3_h / 3600.0 * rng.uniform(0.7, 1.1),
        chamber=scene.chamber_l * 1e-3 * rng.uniform(0.9, 1.3),
        condenser_temperature=scene.condenser_c + ZERO + rng.uniform(-1.0, 4.0),
        condenser_power=scene.power_w * rng.uniform(0.7, 1.6),
        condenser_half=float(rng.uniform(4.0, 14.0)),
        condenser_warming=float(rng.uniform(0.0, 6.0)) / scene.power_w,
        load_lag=float(rng.uniform(15.0, 75.0)),
        end_share=scene.load_fraction * float(np.exp(rng.normal(0.0, 0.25))),
        velocity_limit=1.0,
        fill_limit=float(rng.uniform(0.6, 0.8)),
        enrichment=float(np.exp(rng.normal(0.45, 0.35))),
        enrichment_slope=float(rng.uniform(0.0, 0.8)),
        carry_over=float(10 ** rng.uniform(-4.0, -2.3)),
        film_area=float(rng.uniform(1e-4, 5e-4)),
        diffusion_path=float(rng.uniform(0.03, 0.12)),
        accommodation=float(10 ** rng.uniform(-3.5, -2.0)),
        residue=scene.residue_mg * 1e-6 / 0.3 * float(np.exp(rng.normal(0.0, 0.4))),
        activation=9.0e4,
        max_time=240.0 * 60.0,
    )


@dataclass(frozen=True, eq=False)
class Candidates:
    """Analytes a bench may take: what the job tells and what is true, in whatever solvent.

    Each array is [C]; ``gamma_shift`` is by how much ln(gamma) is off the mean of its kind.
    """

    entries: tuple[Mapping, ...]
    ln_p25: Array
    slope: Array
    polar: Array
    gamma_shift: Array
    residue_gamma: Array
    spike: Array
    thermal: Array
    molar: Array
    ceiling: Array

    def take(self, chosen: list[int]) -> Candidates:
        """The chosen ones, in that order."""
        arrays = (self.ln_p25, self.slope, self.polar, self.gamma_shift, self.residue_gamma,
                  self.spike, self.thermal, self.molar, self.ceiling)
        return Candidates(tuple(self.entries[i] for i in chosen), *(a[chosen] for a in arrays))


def draw_candidates(rng: np.random.Generator, new: int = 8) -> Candidates:
    """Library analytes and new ones, each with its own truth."""
    library = rng.choice(len(liquids.ANALYTES), size=8, replace=False)
    rows: list[dict[str, Any]] = [_library_analyte(int(i), rng) for i in library]
    rows += [_new_analyte(k, rng) for k in range(new)]
    return Candidates(
        tuple(r["entry"] for r in rows),
        *(np.array([r[k] for r in rows]) for k in (
            "ln_p25", "slope", "polar", "gamma_shift", "residue_gamma", "spike", "thermal",
            "molar", "ceiling")),
    )


def _library_analyte(index: int, rng: np.random.Generator) -> dict[str, Any]:
    known = liquids.ANALYTES[index]
    row = _hidden(known.polar, rng)
    ln_p = float(np.log(known.pressure_25) + known.scatter * rng.standard_normal())
    spike = float(np.round(10 ** rng.uniform(0.0, 1.7), 1))
    return row | {
        "entry": {"name": known.name, "cas": known.cas, "spike_ug": spike},
        "ln_p25": ln_p,
        "slope": liquids.enthalpy_from_pressure(float(np.exp(ln_p))) / 8.314462618,
        "spike": spike * 1e-9 / (known.molar * 1e-3),
        "molar": known.molar * 1e-3,
    }


def _new_analyte(index: int, rng: np.random.Generator) -> dict[str, Any]:
    """A compound the property library does not hold, known from its data sheet."""
    pressure = float(10 ** rng.uniform(-2.7, 1.8))
    enthalpy = liquids.enthalpy_from_pressure(pressure) * float(np.exp(rng.normal(0.0, 0.03)))
    molar = float(np.round(rng.uniform(140.0, 380.0), 1))
    spike = float(np.round(10 ** rng.uniform(0.0, 1.7), 1))
    sheet = pressure * float(np.exp(rng.normal(0.0, 0.3)))
    entry: Mapping = {
        "name": f"Compound {chr(ord('A') + index)}",
        "molar_mass_g_per_mol": molar,
        "vapour_pressure": [{"temperature_c": 25, "pressure_pa": float(f"{sheet:.2g}")}],
        "spike_ug": spike,
    }
    if rng.uniform() < 0.5:
        boiling = 1.0 / (1.0 / 298.15 - 8.314462618 / enthalpy * np.log(1300.0 / pressure))
        entry["boiling_point"] = {
            "temperature_c": round(boiling - ZERO + rng.normal(0.0, 3.0)), "pressure_mbar": 13,
        }
    return _hidden(bool(rng.uniform() < 0.5), rng) | {
        "entry": entry,
        "ln_p25": float(np.log(pressure)),
        "slope": enthalpy / 8.314462618,
        "spike": spike * 1e-9 / (molar * 1e-3),
        "molar": molar * 1e-3,
    }


def _hidden(polar: bool, rng: np.random.Generator) -> dict[str, Any]:
    """What no data sheet tells of an analyte."""
    shift = rng.normal(0.0, 0.3)
    labile = rng.uniform() < 0.15
    return {
        "polar": polar,
        "gamma_shift": shift,
        "residue_gamma": float(np.exp(rng.normal(0.0, 0.5))),
        "thermal": float(10 ** rng.uniform(-6.0, -4.6)) if labile else 0.0,
        "ceiling": float(1.0 - np.clip(rng.gamma(1.0, 0.03), 0.0, 0.12)),
    }


def build_liquid(scene: Scene, chosen: Candidates, margules: Array) -> Liquid:
    """The kernel's view of solvents and chosen analytes."""
    constants = [liquids.solvent_constants(n) for n in scene.names]
    known = [liquids.SOLVENTS[n] for n in scene.names]
    return Liquid(
        antoine=np.array([c[0] for c in constants]),
        boil=np.array([c[1] for c in constants]),
        critical=np.array([c[2] for c in constants]),
        h_boil=np.array([s.h_boil for s in known]),
        molar_volume=np.array([s.molar_volume for s in known]),
        heat_capacity=np.array([s.heat_capacity for s in known]),
        margules=margules,
        ln_p25=chosen.ln_p25,
        slope=chosen.slope,
        ln_gamma=chosen.gamma_shift[:, None] + np.array(
            [[liquids.mean_ln_gamma(n, p) for n in scene.names] for p in chosen.polar]),
        residue_gamma=chosen.residue_gamma,
        spike=chosen.spike,
        thermal=chosen.thermal,
        molar=chosen.molar,
    )


def write_job(scene: Scene, entries: tuple[Mapping, ...], title: str, seed: int) -> Mapping:
    """The job as the analyst would write it."""
    factors: Mapping = {f.name: {"low": f.low, "high": f.high} for f in scene.free}
    sample: Mapping = {
        "fill_volume_ml": scene.fill_ml,
        "solvents": [
            {"name": n, "volume_fraction": x}
            for n, x in zip(scene.solvents, scene.fractions, strict=True)
        ],
        "end_volume_ml": scene.end_volume_ml,
        "residue_mg": scene.residue_mg,
        "max_temperature_c": 90,
    }
    if scene.keeper:
        sample["keeper"] = {"name": scene.keeper, "volume_ml": scene.keeper_ml}
    if scene.control:
        sample["end_volume_control"] = scene.control
    return {
        "title": title,
        "seed": seed,
        "equipment": {
            "name": "Simulated evaporator",
            "vessels": scene.vessels,
            "vessel_capacity_ml": scene.capacity_ml,
            "relative_centrifugal_force": scene.rcf,
            "rotor_radius_mm": scene.radius_mm,
            "condenser_temperature_c": scene.condenser_c,
            "condenser_capacity_ml": 2.0 * scene.vessels * scene.fill_ml,
            "ramp_start_pressure_mbar": scene.ramp_start,
            "ultimate_pressure_mbar": 1,
            "end_point_load_fraction": scene.load_fraction,
            "end_point_hold_min": scene.hold_min,
            "heating": scene.heating,
            "condenser_power_w": scene.power_w,
            "pump_speed_m3_per_h": scene.pump_m3_h,
            "chamber_volume_l": scene.chamber_l,
        },
        "factors": factors,
        "sample": sample,
        "analytes": [dict(e) for e in entries],
        "limits": {"max_run_time_min": 240, "handling_min": 20, "assurance": 0.95,
                   "trials": 12, "trials_per_batch": 3},
    }
