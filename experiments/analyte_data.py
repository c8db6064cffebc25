"""What a job says of an analyte, in SI, for the models; without loading the run model."""

from __future__ import annotations

from experiments.job import Analyte
from models.new_analyte import AnalyteSpec
from models.quantities import kelvin, pascal


def analyte_si(analyte: Analyte) -> AnalyteSpec:
    """What is known of an analyte, in SI."""
    boiling = analyte.boiling_point
    molar = analyte.molar_mass_g_per_mol
    return AnalyteSpec(
        name=analyte.name,
        cas=analyte.cas,
        molar_mass=None if molar is None else molar / 1000.0,
        vapour_pressure=tuple(
            (kelvin(p.temperature_c), p.pressure_pa) for p in analyte.vapour_pressure
        ),
        boiling_point=(
            None if boiling is None
            else (kelvin(boiling.temperature_c), pascal(boiling.pressure_mbar))
        ),
        smiles=analyte.smiles,
    )
