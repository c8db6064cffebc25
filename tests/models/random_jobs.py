"""Random liquids, evaporators and settings for tests of the run model, made by hand.

Solvents obey Clausius-Clapeyron with Trouton's constant near 88 J/(mol K), so that a test of
the run model does not depend on the property layer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.equipment import Equipment, Load
from models.parameters import PARAMETERS
from models.system import LiquidSystem

R = 8.31446261815324


@dataclass(frozen=True, eq=False)
class Job:
    system: LiquidSystem
    equipment: Equipment
    load: Load
    setting: np.ndarray
    z: np.ndarray


def line(boiling: float, enthalpy: float) -> list[float]:
    """Coefficients of ln P for a boiling point at 1 atm (K) and an enthalpy (J/mol)."""
    return [np.log(101325.0) + enthalpy / (R * boiling), -enthalpy / R, 0.0, 0.0]


def liquid(rng: np.random.Generator, solvents: int = 1, keeper: bool = False,
           ideal: bool = False) -> LiquidSystem:
    count = solvents + keeper
    boiling = np.sort(rng.uniform(308.0, 372.0, solvents))
    boiling = np.append(boiling, [rng.uniform(440.0, 520.0)] * keeper)
    enthalpy = rng.uniform(84.0, 93.0, count) * boiling
    molar = np.append(rng.uniform(0.045, 0.11, solvents), [0.16] * keeper)
    share = rng.dirichlet(np.full(solvents, 4.0)) if solvents > 1 else np.ones(1)
    strength = 0.0 if ideal else 1.0
    off = strength * rng.uniform(-80.0, 250.0, (count, count)) * (1 - np.eye(count))
    volatile = rng.uniform(440.0, 620.0, 3)
    heat = rng.uniform(60e3, 85e3, 3)
    return LiquidSystem(
        solvents=tuple(f"solvent {j}" for j in range(count)), has_keeper=keeper,
        fraction=np.append(share, [0.0] * keeper), molar_mass=molar,
        ln_p=np.array([line(b, h) for b, h in zip(boiling, enthalpy, strict=True)]),
        h_vap=np.column_stack([enthalpy, np.zeros((count, 2))]),
        density=rng.uniform(680.0, 1350.0, count),
        heat_capacity=molar * rng.uniform(1200.0, 2300.0, count),
        freezing_temperature=np.full(count, 150.0),
        nrtl_a=np.zeros((count, count)), nrtl_b=off, nrtl_alpha=np.full((count, count), 0.3),
        analytes=("a", "b", "c"), analyte_molar_mass=rng.uniform(0.12, 0.3, 3),
        analyte_ln_p=np.array([line(b, h) for b, h in zip(volatile, heat, strict=True)]),
        analyte_ln_gamma=rng.uniform(-0.5, 1.5, (3, count)),
        analyte_ln_gamma_pair=np.triu(rng.uniform(-0.5, 0.5, (3, count, count)), 1),
        analyte_ln_volatility_sd=np.full(3, 0.4),
        analyte_ln_gamma_sd=np.full(3, 0.3),
    )


def saturation(system: LiquidSystem, j: int, temperature: float) -> float:
    c = system.ln_p[j]
    return float(np.exp(c[0] + c[1] / temperature))


def job(seed: int, solvents: int = 1, keeper: bool = False) -> Job:
    """A job whose liquid can boil at its end pressure and be condensed."""
    rng = np.random.default_rng([31, seed])
    system = liquid(rng, solvents, keeper)
    cold = rng.uniform(225.0, 268.0)
    wall = rng.uniform(300.0, 335.0)
    heaviest = solvents - 1
    top = min(0.6 * saturation(system, heaviest, wall), 9e4)
    bottom = 1.3 * max(saturation(system, j, cold) for j in range(solvents))
    end = float(np.exp(rng.uniform(*np.log([min(bottom, 0.9 * top), top]))))
    capacity = float(rng.choice([40e-6, 100e-6, 250e-6, 500e-6]))
    vessels = int(rng.integers(2, 25))
    equipment = Equipment(
        vessels, capacity, 350.0, cold, rng.uniform(4e4, 9e4), 100.0,
        rng.uniform(0.06, 0.15), str(rng.choice(["contact", "contact", "gas gap"])),
        rng.uniform(250.0, 1200.0), rng.uniform(1.0, 6.0) / 3600.0, rng.uniform(0.01, 0.05))
    load = Load(rng.choice([0.2e-6, 2e-6, 20e-6]), 10.0 ** rng.uniform(-8.5, -6.5, 3), "",
                6 * 3600.0, 400.0)
    fill = capacity * rng.uniform(0.2, 0.6)
    setting = np.array([
        wall, np.exp(rng.uniform(*np.log([8.0, 500.0]))), end, fill,
        fill * rng.uniform(0.004, 0.02) if keeper else 0.0, 0.0, rng.uniform(0.0, 300.0)])
    z = 0.7 * rng.standard_normal(len(PARAMETERS))
    return Job(system, equipment, load, setting, z)
