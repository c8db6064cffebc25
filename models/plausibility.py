"""What is known from one place only, held against an independent estimate.

- A boiling point from a single source that lies far below what the structure suggests is
  probably one at reduced pressure, or of decomposition: it is dropped.
- A vapour-pressure correlation from a single source that misses the pressure expected from the
  boiling point tenfold, beyond the uncertainty of that, is dropped; where it is kept, half of
  what it misses it by is added to its doubt. Without a boiling point it is held against the
  structure, and where they differ both are kept with the doubt that follows.

- Where one source reaches 313 K and the others end above it, their disagreement counts too.

The estimates are Mackay's relation (:func:`models.volatility.boiling_point_estimate`) and
Joback's group contributions (:mod:`models.structure`).
"""

from __future__ import annotations

import math

import numpy as np

from models.errors import ModelError
from models.pressure_sources import Points, measured
from models.quantities import celsius
from models.smiles import readable
from models.structure import StructureEstimate, estimate_from_structure
from models.volatility import (
    REFERENCE,
    Evidence,
    Shape,
    boiling_point_estimate,
    fit_curve,
    ln_pressure,
)

LOWEST, HIGHEST = 0.85, 1.35
"""Ratio of a boiling temperature to the one estimated from the structure, in K/K; of 1.0 +-
0.1 for usual substances, above it for small associated molecules only."""
LONELY_SD_K = 3.0
"""K; a boiling point that is less certain than this is from a single source."""
WIDE_RANGE = {"DIPPR_PERRY_8E", "VDI_PPDS"}
"""Correlations whose stated range runs from melting to critical point, measured or not."""
TENFOLD = math.log(10.0)


def structure_estimate(smiles: str) -> StructureEstimate | None:
    """Boiling point from the structure; None where the method does not cover it."""
    try:
        return estimate_from_structure(smiles)
    except ModelError:
        return None


def lonely_boiling_point_fails(boiling: float, sd: float, smiles: str, notes: list[str]) -> bool:
    """Whether a boiling point in K that only one source has contradicts the structure.

    A point counts as lonely when its sd is at least 3 K (see
    :func:`models.reference_library.agreed_temperature`).
    """
    if not math.isfinite(boiling) or sd < LONELY_SD_K:
        return False
    guess = structure_estimate(smiles)
    if guess is None or LOWEST < boiling / guess.boiling_temperature < HIGHEST:
        return False
    notes.append(
        f"the only boiling point, {celsius(boiling):.0f} degC, is far from "
        f"{celsius(guess.boiling_temperature):.0f} degC estimated from the structure (reduced "
        "pressure or decomposition?), not used")
    return True


def shape_of(smiles: str) -> Shape | None:
    """Shape of a structure, None when it cannot be read."""
    molecule = readable(smiles)
    if molecule is None:
        return None
    atoms = molecule.atoms
    return Shape(
        flexible=sum(not a.in_ring for a in atoms) / len(atoms),
        polar=any(a.symbol in {"O", "N", "S", "P"} for a in atoms),
        donor=any(a.symbol in {"O", "N"} and a.hydrogens for a in atoms),
    )


def structure_evidence(smiles: str) -> Evidence | None:
    """Vapour pressure at 313 K from the structure alone; None where that is not covered."""
    guess = structure_estimate(smiles)
    if guess is None:
        return None
    point = boiling_point_estimate(
        guess.boiling_temperature, "the structure", guess.sd, shape_of(smiles))
    return Evidence(point.temperature, point.pressure, point.sd,
                    "group contributions of the structure")


def lonely_correlation(
    evidence: list[Evidence], boiling: float, smiles: str, molar_mass: float, notes: list[str]
) -> tuple[list[Evidence], float]:
    """Points of a single correlation, and what to add to the sd of ln P.

    Parameters
    ----------
    evidence : points of one correlation, T in K and P in Pa
    boiling : normal boiling temperature in K from elsewhere, nan when none
    molar_mass : kg/mol

    Returns
    -------
    evidence, sd : the points (empty when dropped; with the estimate when both are kept)
    """
    name = evidence[0].source
    found = float(ln_pressure(
        fit_curve(evidence, molar_mass, donor=has_donor(smiles)).coefficients, REFERENCE))
    if math.isfinite(boiling):
        point = boiling_point_estimate(boiling, "the boiling point", 0.0, shape_of(smiles))
        gap = found - math.log(point.pressure)
        if abs(gap) < TENFOLD + 2.5 * point.sd:
            return evidence, 0.5 * abs(gap)
        notes.append(f"{name} is {math.exp(abs(gap)):.0f}-fold from what the boiling point "
                     "suggests, not used")
        return [], 0.0
    guess = structure_evidence(smiles)
    if guess is None:
        return evidence, 0.5
    gap = found - math.log(guess.pressure)
    if abs(gap) < guess.sd:
        return evidence, 0.3
    notes.append(f"{name} is {math.exp(abs(gap)):.0f}-fold from what the structure suggests; "
                 "neither is believed alone")
    weak = guess.sd * math.sqrt(len(evidence))
    doubted = [Evidence(e.temperature, e.pressure, weak, e.source) for e in evidence]
    return [*doubted, guess], 0.5 * abs(gap)


def scatter_floor(curves: dict[str, Points]) -> float:
    """Smallest sd of ln P that one or two sources deserve: they may copy each other."""
    return {1: 0.15, 2: 0.08}.get(len(curves), 0.0)


def far_scatter(curves: dict[str, Points], molar_mass: float, heat_capacity: float,
                donor: bool = False, cited: bool = False) -> float:
    """Half the gap in ln P at 313 K between sources said to reach it and all the others.

    A wide-range correlation is valid "down to melting" by decree; the measurements behind it
    often end where the others do. Those, carried down by their enthalpy, are the second
    opinion. Where none reaches 313 K, each is carried down alone, and their standard deviation
    counts unless a measurement is cited there. Zero where there is one only, or where a source of
    measured range reaches 313 K.
    """
    near = {m: v for m, v in curves.items()
            if min(v) - 25.0 <= REFERENCE <= max(v) + 25.0}
    far = {m: v for m, v in curves.items() if m not in near}
    if not near and len(far) > 1 and not cited:
        return float(np.std([carried({m: v}, molar_mass, heat_capacity, donor)
                             for m, v in far.items()]))
    if not near or not far or set(near) - WIDE_RANGE:
        return 0.0
    low, high = (carried(part, molar_mass, heat_capacity, donor) for part in (near, far))
    return 0.5 * abs(high - low)


def far_from_boiling_point(curves: dict[str, Points], boiling: float, smiles: str,
                           molar_mass: float, heat_capacity: float) -> float:
    """What to add to the sd of ln P where every source ends far above 313 K.

    The sources carried down are held against the estimate from the boiling point in K: what they
    differ by beyond its sd. Zero where a source comes within 60 K of 313 K.
    """
    if not curves or not math.isfinite(boiling) or (
            min(min(v) for v in curves.values()) < REFERENCE + 60.0):
        return 0.0
    point = boiling_point_estimate(boiling, "the boiling point", 0.0, shape_of(smiles))
    found = carried(curves, molar_mass, heat_capacity, has_donor(smiles))
    return max(0.0, abs(found - math.log(point.pressure)) - point.sd)


def carried(curves: dict[str, Points], molar_mass: float, heat_capacity: float,
            donor: bool) -> float:
    """Ln P at 313 K of sources carried there by their enthalpy."""
    curve = fit_curve(measured(curves), molar_mass, heat_capacity, donor)
    return float(ln_pressure(curve.coefficients, REFERENCE))


def has_donor(smiles: str) -> bool:
    """Whether a structure has an O-H or N-H; False where it cannot be read."""
    shape = shape_of(smiles)
    return shape is not None and shape.donor
