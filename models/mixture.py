"""Liquid mixtures: packed systems for the run model, bubble points, azeotropes.

Vapour ideal, liquid by NRTL fitted to UNIFAC (:mod:`models.activity_pairs`), analytes at
infinite dilution (:mod:`models.dilution`). Where no group contribution exists a pair is taken
as ideal and a finding says so; with water present that is refused.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.activity_pairs import PairParameters, pair_parameters
from models.dilution import WATER, AnalyteDilution, activity_findings, dilution
from models.errors import Finding, ModelError, OutOfRange
from models.liquid_phases import has_gap, ln_gamma, two_phase_finding
from models.new_analyte import AnalyteSpec, contradictions, estimate_new_analyte
from models.quantities import ATMOSPHERE, celsius, mbar
from models.substances import Substance, find_substance
from models.system import Array, LiquidSystem
from models.two_liquids import TwoLiquids, boiling_together
from models.volatility import boiling_temperature, ln_pressure

EDGE = 0.03
"""Mole fraction; azeotropes nearer to a pure substance are within the error of UNIFAC."""
SEPARATE = ("Two liquid phases boil together here, at one temperature whatever there is of "
            "either; activity coefficients are those of both together.")


@dataclass(frozen=True, eq=False)
class BubblePoint:
    """Where a liquid boils: temperature in K, vapour mole fractions y [S], gamma [S]."""

    temperature: float
    y: Array
    gamma: Array


@dataclass(frozen=True, eq=False)
class Azeotrope:
    """Equal liquid and vapour composition x [S] at temperature in K."""

    temperature: float
    x: Array


def bubble_pressure(system: LiquidSystem, x: Array, temperature: float) -> float:
    """Pressure (Pa) at which a liquid of mole fractions x [S] boils at a temperature (K)."""
    return float(_partial_pressures(system, np.asarray(x, dtype=float), temperature)[0].sum())


def _partial_pressures(system: LiquidSystem, x: Array, T: float) -> tuple[Array, Array]:
    """Partial pressures (Pa) and ln gamma, both [S]."""
    g = ln_gamma(system, x, T)
    return np.where(x > 0, x * np.exp(g + ln_pressure(system.ln_p, T)), 0.0), g


def bubble_point(system: LiquidSystem, x: Array, pressure: float) -> BubblePoint:
    """Bubble point of a liquid of mole fractions x [S] at a pressure in Pa.

    Raises
    ------
    OutOfRange
        When the composition or the pressure makes no sense, or nothing boils at 120-900 K.
    """
    x = np.asarray(x, dtype=float)
    if x.shape != (len(system.solvents),) or np.any(x < 0) or abs(x.sum() - 1.0) > 1e-6:
        raise OutOfRange("Mole fractions must be positive and add to 1.", "Correct them.")
    if not (math.isfinite(pressure) and pressure > 0):
        raise OutOfRange(f"A pressure of {mbar(pressure):g} mbar is not possible.",
                         "Give a number above 0, absolute.")
    present = x > 0
    boiling = [boiling_temperature(c, pressure) for c in system.ln_p[present]]
    low, high = 120.0, max(boiling) + 60.0
    target = math.log(pressure)

    def excess(T: float) -> tuple[float, Array, Array]:
        partial, g = _partial_pressures(system, x, T)
        return math.log(partial.sum()) - target, partial, g

    T = float(x[present] @ np.array(boiling))
    for _ in range(100):
        value, partial, g = excess(T)
        if abs(value) < 1e-11:
            break
        if value > 0:
            high = T
        else:
            low = T
        step = 1e-3
        slope = (excess(T + step)[0] - value) / step
        T = T - value / slope if slope > 0 else 0.5 * (low + high)
        if not low < T < high:
            T = 0.5 * (low + high)
        if high - low < 1e-11:
            break
    value, partial, g = excess(T)
    if abs(value) > 1e-6:
        raise OutOfRange("No bubble point was found.", "Check pressure and composition.")
    return BubblePoint(T, partial / partial.sum(), np.exp(g))


def breakthrough_pressure(system: LiquidSystem, x: Array, cold: float) -> float:
    """Pressure (Pa) below which what has boiled off passes a condenser at ``cold`` (K).

    The saturation pressure there of a condensate of mole fractions x [S], as an ideal mixture:
    in the end the condenser holds the whole fill, and its lighter part leaves again with the
    pump where the pressure falls below that; as in the run model.
    """
    return float(x @ np.exp(ln_pressure(system.ln_p, cold)))


def azeotrope(system: LiquidSystem, pressure: float) -> Azeotrope | None:
    """Azeotrope of a binary at a pressure in Pa; None without one, or for x beyond 3-97 %.

    The lower boiling one where there are two, whichever solvent is named first.
    """
    if len(system.solvents) != 2:
        return None

    def gap(x1: float) -> float:
        point = bubble_point(system, np.array([x1, 1.0 - x1]), pressure)
        return math.log(point.y[0] / x1) - math.log(point.y[1] / (1.0 - x1))

    grid = np.linspace(EDGE, 1.0 - EDGE, 33)
    values = [gap(float(x)) for x in grid]
    found = []
    for low, high, first, second in zip(grid, grid[1:], values, values[1:], strict=False):
        if first * second > 0 or first == second:
            continue
        a, b, sign = float(low), float(high), first
        while b - a > 1e-9:
            middle = 0.5 * (a + b)
            if gap(middle) * sign > 0:
                a = middle
            else:
                b = middle
        x = np.array([0.5 * (a + b), 1.0 - 0.5 * (a + b)])
        found.append(Azeotrope(bubble_point(system, x, pressure).temperature, x))
    return min(found, key=lambda one: one.temperature, default=None)


def _pairs(liquids: Sequence[Substance]) -> tuple[Array, Array, Array, list[Finding]]:
    n = len(liquids)
    a, b, alpha = np.zeros((n, n)), np.zeros((n, n)), np.full((n, n), 0.3)
    findings = []
    for i in range(n):
        for j in range(i + 1, n):
            pair: PairParameters = pair_parameters(liquids[i], liquids[j])
            a[i, j], a[j, i] = pair.a
            b[i, j], b[j, i] = pair.b
            alpha[i, j] = alpha[j, i] = pair.alpha
            names = f"{liquids[i].name} and {liquids[j].name}"
            if pair.model == "ideal":
                if WATER in (liquids[i].cas, liquids[j].cas):
                    raise ModelError(
                        f"No activity coefficients are known for {names}, and an ideal forecast "
                        "with water would be wrong a thousandfold.",
                        "Dry the extract first, leave out traces (0.1 % of an acid), or take a "
                        "solvent that is known.",
                    )
                findings.append(Finding(
                    "ideal_solvents", "caution",
                    f"{names} are taken as an ideal mixture: no activity coefficients are known.",
                    "Expect the boiling point of the mixture to be off by several degrees."))
            elif pair.model == "original":
                findings.append(Finding(
                    "original_unifac", "info",
                    f"{names}: activity coefficients from original UNIFAC only."))
    return a, b, alpha, findings


def _assumed(liquids: Sequence[Substance]) -> list[Finding]:
    """A finding for every solvent whose density or heat capacity had to be assumed."""
    found = []
    for s in liquids:
        what = [key for key in ("density", "heat capacity") if "assumed" in s.sources.get(key, "")]
        if what:
            found.append(Finding(
                "assumed_property", "caution",
                f"For {s.name} the {' and the '.join(what)} had to be assumed: no source has "
                f"{'them' if len(what) > 1 else 'it'}.",
                "Run times are less certain; compare the first trial."))
    return found


@dataclass(frozen=True, eq=False)
class _AnalyteData:
    """What the system stores of one analyte."""

    name: str
    molar_mass: float
    ln_p: Array
    dilution: AnalyteDilution
    sd: float
    findings: tuple[Finding, ...]


def _analyte(spec: AnalyteSpec, liquids: tuple[Substance, ...]) -> _AnalyteData:
    known: Substance | None = None
    if not spec.has_own_data:
        known = find_substance(spec.cas or spec.name)
        mass, ln_p, ln_p_sd = known.molar_mass, known.ln_p, known.ln_p_sd
        source = known.sources.get("vapour pressure", "")
        estimated = source.startswith("estimated") or ln_p_sd > 0.5
    else:
        new = estimate_new_analyte(spec)
        mass, ln_p, ln_p_sd = new.molar_mass, new.curve.coefficients, new.ln_p_sd
        source, estimated = new.source, True
    found = dilution(spec.name, spec.cas, known, liquids)
    sd = math.hypot(ln_p_sd, found.sd)
    findings: tuple[Finding, ...] = (Finding(
        "volatility_estimate", "info",
        f"Vapour pressure of {spec.name}: {source}; true within a factor "
        f"{math.exp(1.96 * ln_p_sd):.1f} (95 %).", "Trials settle it."),) if estimated else ()
    if spec.has_own_data:
        findings += contradictions(spec, new)
    return _AnalyteData(spec.name, mass, ln_p, found, sd, findings)


def build_system(
    solvents: Sequence[tuple[str, float]],
    keeper: str | None,
    analytes: Sequence[AnalyteSpec],
) -> LiquidSystem:
    """Pack solvents (name, volume fraction of the fill), keeper and analytes for the run model.

    Raises
    ------
    UnknownSubstance
        For a solvent, keeper or analyte that is not known.
    ModelError
        When only an ideal forecast would be possible with water present, or nothing is known
        of an analyte's volatility.
    """
    if not solvents:
        raise ModelError("There is no solvent.", "Name at least one.")
    names = [name for name, _ in solvents]
    liquids = [find_substance(name) for name in names]
    if any(not math.isfinite(f) or f < 0 for _, f in solvents):
        raise ModelError("Volume fractions must not be negative.", "Correct them.")
    if keeper is not None:
        liquids.append(find_substance(keeper))
    if len({s.cas for s in liquids}) < len(liquids):
        raise ModelError("A solvent is named twice, or is also the keeper.", "Merge them.")
    fraction = np.array([f for _, f in solvents] + ([0.0] if keeper is not None else []))
    a, b, alpha, findings = _pairs(liquids)
    findings += _assumed(liquids)
    data = [_analyte(spec, tuple(liquids)) for spec in analytes]
    findings += activity_findings({item.name: item.dilution for item in data})
    for item in data:
        findings += item.findings
    system = LiquidSystem(
        solvents=tuple([*names, keeper] if keeper is not None else names),
        has_keeper=keeper is not None, fraction=fraction,
        molar_mass=np.array([s.molar_mass for s in liquids]),
        ln_p=np.array([s.ln_p for s in liquids]),
        h_vap=np.array([s.h_vap for s in liquids]),
        density=np.array([s.density for s in liquids]),
        heat_capacity=np.array([s.heat_capacity for s in liquids]),
        freezing_temperature=np.array([
            s.freezing_temperature if math.isfinite(s.freezing_temperature) else 0.0
            for s in liquids]),
        nrtl_a=a, nrtl_b=b, nrtl_alpha=alpha,
        analytes=tuple(item.name for item in data),
        analyte_molar_mass=np.array([item.molar_mass for item in data]),
        analyte_ln_p=np.array([item.ln_p for item in data]).reshape(len(data), 4),
        analyte_ln_gamma=_stack([item.dilution.ln_gamma for item in data], len(liquids)),
        analyte_ln_gamma_pair=np.array([item.dilution.pair for item in data]).reshape(
            len(data), len(liquids), len(liquids)),
        analyte_ln_volatility_sd=np.array([item.sd for item in data]),
        analyte_ln_gamma_sd=np.array([item.dilution.sd for item in data]),
        findings=(),
    )
    phases = two_phase_finding(system, [s.cas for s in liquids])
    return _with_findings(system, [*findings, *([phases] if phases else [])])


def _stack(rows: list[Array], width: int) -> Array:
    return np.array(rows, dtype=float).reshape(len(rows), width)


def _with_findings(system: LiquidSystem, findings: list[Finding]) -> LiquidSystem:
    values = {name: getattr(system, name) for name in system.__dataclass_fields__}
    return LiquidSystem(**{**values, "findings": tuple(dict.fromkeys(findings))})


@lru_cache(maxsize=128)
def _solvent_system(names: tuple[str, ...]) -> LiquidSystem:
    return build_system([(name, 1.0 / len(names)) for name in names], None, [])


def describe_mixture(
    mole_fractions: Mapping[str, float], pressure_pa: float = ATMOSPHERE
) -> dict[str, object]:
    """Bubble point, vapour, activity coefficients and azeotrope of a mixture, as the CLI shows.

    Keys: ``bubble_point_c, vapour_mole_fraction, activity_coefficient, azeotrope, warnings``.
    """
    total = sum(mole_fractions.values())
    if not mole_fractions or any(v < 0 for v in mole_fractions.values()) or abs(total - 1) > 1e-3:
        raise ModelError(f"The mole fractions add to {total:g}.", "They must add to 1.")
    names = tuple(mole_fractions)
    system = _solvent_system(names)
    x = np.array([mole_fractions[n] / total for n in names])
    point, found, apart = _described(system, x, pressure_pa)
    return {
        "bubble_point_c": celsius(point.temperature),
        "vapour_mole_fraction": dict(zip(names, map(float, point.y), strict=True)),
        "activity_coefficient": dict(zip(names, map(float, point.gamma), strict=True)),
        "azeotrope": None if found is None else {
            "mole_fraction": dict(zip(names, map(float, found.x), strict=True)),
            "temperature_c": celsius(found.temperature),
        },
        "warnings": [*(f.sentence for f in system.findings), *([SEPARATE] if apart else [])],
    }


def _described(
    system: LiquidSystem, x: Array, pressure: float
) -> tuple[BubblePoint, Azeotrope | None, bool]:
    """Bubble point and azeotrope, and whether two liquids boil together at x."""
    point, found = bubble_point(system, x, pressure), azeotrope(system, pressure)
    liquids = _two_liquids(system, pressure, point.temperature)
    if liquids is None:
        return point, found, False
    if found is not None and liquids.holds(float(found.x[0])):
        found = None  # one liquid of that composition does not last
    if liquids.holds(float(liquids.y[0])):
        found = Azeotrope(liquids.temperature, liquids.y)
    if not liquids.holds(float(x[0])):
        return point, found, False
    return BubblePoint(liquids.temperature, liquids.y, liquids.activity / x), found, True


def _two_liquids(system: LiquidSystem, pressure: float, start: float) -> TwoLiquids | None:
    """The two liquids of a binary at its boiling point, where its components do not mix."""
    cas = [find_substance(name).cas for name in system.solvents]
    if len(cas) != 2 or not has_gap(system, cas):
        return None
    return boiling_together(system, pressure, start)
