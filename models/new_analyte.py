"""An analyte that the property library does not know: a curve from what its data sheet gives.

Uncertainty, one standard deviation of ln P at 313 K, grows with how little is given: about
0.1-0.3 for a vapour pressure near room temperature, 0.2-0.5 for a boiling point at reduced
pressure, 0.4-1.6 for a normal boiling point, 0.9-3 for a structure alone. It comes out of the
same regression as the curve (:func:`models.volatility.fit_curve`), wider by as much as the
values given disagree; for a structure alone it is at least that of the estimate at 313 K,
because the boiling point and the pressure that follows from it share one error and must not
support each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from models.errors import Finding, ModelError
from models.plausibility import shape_of
from models.quantities import ATMOSPHERE, celsius
from models.substances import packaged_substance
from models.volatility import (
    REFERENCE,
    Curve,
    Evidence,
    boiling_point_estimate,
    fit_curve,
    ln_pressure,
)

VAPOUR_PRESSURE_SD = 0.20
"""ln units, scatter of data-sheet vapour pressures (common practice, no source)."""
GIVEN = "data sheet"
LEAST_SD = 0.1
"""ln units, the least doubt of any estimate (common practice, no source)."""
FAR_SD = 3.0
"""Standard deviations between the values given and the library's that are pointed out."""
SAME_MASS = 0.02
"""Share by which a molar mass given may differ from the library's, salts and digits apart."""
HOPELESS_SD = 10.0
"""Standard deviations of a value from the curve beyond which one of the data must be wrong."""
BOILING_POINT_SD_K = 2.0
"""K, of a data-sheet boiling point (common practice, no source)."""


@dataclass(frozen=True)
class AnalyteSpec:
    """What is known of an analyte, SI units.

    With neither vapour pressure, boiling point nor structure, the library is asked by CAS
    number or name.

    Attributes
    ----------
    molar_mass : kg/mol
    vapour_pressure : (T/K, P/Pa) of the liquid, or of the solid below its melting point
    boiling_point : (T/K, P/Pa)
    smiles : structure
    """

    name: str
    cas: str = ""
    molar_mass: float | None = None
    vapour_pressure: tuple[tuple[float, float], ...] = field(default=())
    boiling_point: tuple[float, float] | None = None
    smiles: str = ""

    @property
    def has_own_data(self) -> bool:
        """Whether there is a vapour pressure, a boiling point or a structure."""
        return bool(self.vapour_pressure or self.boiling_point or self.smiles)


@dataclass(frozen=True, eq=False)
class NewAnalyte:
    """Curve of a new analyte with its uncertainty and how it was found."""

    molar_mass: float
    curve: Curve
    ln_p_sd: float
    source: str


def _checked(name: str, T: float, P: float, what: str) -> None:
    if not (math.isfinite(T) and math.isfinite(P) and 100.0 < T < 1200.0 and 0.0 < P < 5e6):
        raise ModelError(
            f"The {what} of {name} ({celsius(T):g} degC, {P:g} Pa) is not possible.",
            "Give a temperature in degC and a positive pressure.",
        )


def _must_rise(spec: AnalyteSpec) -> None:
    """A vapour pressure that falls with temperature is a slip, however small."""
    points = sorted(spec.vapour_pressure)
    for (T1, P1), (T2, P2) in zip(points, points[1:], strict=False):
        if T2 > T1 and P2 <= P1:
            raise ModelError(
                f"The vapour pressure of {spec.name} falls from {P1:g} Pa at {celsius(T1):g} degC "
                f"to {P2:g} Pa at {celsius(T2):g} degC.", "Correct one of the two.")


def _known_structure(spec: AnalyteSpec) -> str:
    """Structure of an analyte that the table knows by name or number, "" where it does not."""
    from models.structure import groups_by_name

    known = groups_by_name(spec.cas or spec.name) if spec.cas or spec.name.strip() else None
    return "" if known is None else known.smiles


def estimate_new_analyte(spec: AnalyteSpec) -> NewAnalyte:
    """Curve and uncertainty from vapour pressures, a boiling point, both, or a structure.

    Raises
    ------
    ModelError
        When nothing usable is given, or the data contradict each other.
    """
    evidence, sources, least = [], [], LEAST_SD
    molar_mass, T_boil, boil_sd = spec.molar_mass, None, BOILING_POINT_SD_K
    shape = shape_of(spec.smiles or _known_structure(spec))
    _must_rise(spec)
    for T, P in spec.vapour_pressure:
        _checked(spec.name, T, P, "vapour pressure")
        evidence.append(Evidence(T, P, VAPOUR_PRESSURE_SD, GIVEN))
    if spec.vapour_pressure:
        sources.append("vapour pressure given")
    if spec.boiling_point is not None:
        T_boil, P = spec.boiling_point
        _checked(spec.name, T_boil, P, "boiling point")
        evidence.append(Evidence(T_boil, P, max(0.05, 11.0 * boil_sd / T_boil), GIVEN))
        sources.append("boiling point given")
        if not spec.vapour_pressure and P > 0.5 * ATMOSPHERE:
            evidence.append(boiling_point_estimate(
                T_boil, "the boiling point given", boil_sd, shape))
    if spec.smiles and (not evidence or molar_mass is None):
        from models.structure import estimate_from_structure

        guessed = estimate_from_structure(spec.smiles)
        molar_mass = molar_mass if molar_mass is not None else guessed.molar_mass
        if not evidence:
            T_boil = guessed.boiling_temperature
            evidence.append(Evidence(T_boil, ATMOSPHERE, 11.0 * guessed.sd / T_boil, "structure"))
            point = boiling_point_estimate(
                T_boil, "the structure", guessed.sd, shape)
            evidence.append(point)
            least = point.sd
            sources.append("structure alone (group contributions of Joback and Reid)")
    if not evidence:
        raise ModelError(
            f"Nothing is known of the volatility of {spec.name}.",
            "Give a vapour pressure, a boiling point or a structure as SMILES.",
        )
    if molar_mass is None or not 0.01 <= molar_mass <= 5.0:
        raise ModelError(f"The molar mass of {spec.name} is missing or not possible.",
                         "Give it in g/mol.")
    curve = fit_curve(evidence, molar_mass, donor=shape is not None and shape.donor)
    sd = curve.sd(REFERENCE) * _disagreement(spec.name, curve, evidence)
    return NewAnalyte(molar_mass, curve, max(least, sd), ", ".join(sources))


def _disagreement(name: str, curve: Curve, evidence: Sequence[Evidence]) -> float:
    """By how much the values given disagree more than their scatter says, at least 1.

    The ratio of R. T. Birge, Phys. Rev. 40 (1932) 207 (from memory, high confidence).
    """
    off = [(float(ln_pressure(curve.coefficients, e.temperature)) - math.log(e.pressure)) / e.sd
           for e in evidence if e.source == GIVEN]
    if any(abs(z) > HOPELESS_SD for z in off):
        raise ModelError(f"The data of {name} contradict each other: no curve meets them all.",
                         "Check the temperatures and pressures given.")
    return max(1.0, math.sqrt(sum(z * z for z in off) / max(1, len(off) - 1)))


def contradictions(spec: AnalyteSpec, told: NewAnalyte) -> tuple[Finding, ...]:
    """A caution where what is given of a packaged substance is far from what is known of it."""
    known = packaged_substance(spec.cas or spec.name)
    if known is None:
        return ()
    given, listed = (math.exp(float(ln_pressure(c, REFERENCE)))
                     for c in (told.curve.coefficients, known.ln_p))
    is_far = abs(math.log(given / listed)) > FAR_SD * math.hypot(told.ln_p_sd, known.ln_p_sd)
    is_heavy = abs(told.molar_mass / known.molar_mass - 1.0) > SAME_MASS
    if not (is_far or is_heavy):
        return ()
    return (Finding(
        "analyte_contradicts_library", "caution",
        f"What is given for {spec.name} ({1e3 * told.molar_mass:.0f} g/mol, {given:.2g} Pa at "
        f"{celsius(REFERENCE):.0f} degC) is not what the library has for it "
        f"({1e3 * known.molar_mass:.0f} g/mol, {listed:.2g} Pa of the liquid).",
        "Check that the data stand with the right analyte and are not those of the solid; leave "
        "them out to use the library's."),)
