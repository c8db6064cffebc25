"""Vapour-pressure curves: their shape, their fit to mixed evidence, and their inversion.

ln(P/Pa) = c0 + c1/T + c2 ln T + c3 T, the integral of Clausius-Clapeyron for an enthalpy of
vaporisation that is quadratic in T. The fit is linear Gaussian regression in

    theta = (ln P0, H0/R, C/R, D/R) at T0 = 298.15 K,
    H(T) = H0 + C (T - T0) + D (T - T0)^2 / 2,

so that data, priors and the uncertainty of any extrapolation come from the same algebra.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from models.errors import ModelError, OutOfRange
from models.quantities import ATMOSPHERE, GAS_CONSTANT, mbar
from models.system import Array

T0: Final = 298.15
RANGE: Final = (200.0, 470.0)
REFERENCE: Final = 313.15
"""K, where extracts are evaporated: uncertainties and estimates hold here."""
DONOR_BEND: Final = 1.7
"""How much more the enthalpy of a liquid with hydrogen bonds falls on heating. Carried from 430 K
to 313 K, 17 alcohols, acids and phenols were 0.5 too high in ln P without it, 0.3 with it."""
SLOPE_SD: Final = 6.0e3 / GAS_CONSTANT  # K; scatter of the enthalpy correlation


@dataclass(frozen=True)
class Evidence:
    """One point of a vapour-pressure curve: T in K, P in Pa, sd of ln P, where from."""

    temperature: float
    pressure: float
    sd: float
    source: str = ""


@dataclass(frozen=True, eq=False)
class Curve:
    """Fitted curve: ``coefficients`` [4] and the covariance [4, 4] of theta."""

    coefficients: Array
    covariance: Array

    def sd(self, temperature: float) -> float:
        """One standard deviation of ln P at T in K."""
        row = _row(temperature)
        return float(np.sqrt(row @ self.covariance @ row))


def _row(T: float) -> Array:
    """Derivatives of ln P with respect to theta, [4]."""
    return np.array([
        1.0,
        1.0 / T0 - 1.0 / T,
        T0 / T - 1.0 + np.log(T / T0),
        0.5 * ((T - T0) - 2.0 * T0 * np.log(T / T0) + T0 - T0**2 / T),
    ])


def _coefficients(theta: Array) -> Array:
    a, h, c, d = theta
    return np.array([
        a + h / T0 - c * (1.0 + np.log(T0)) + d * T0 * np.log(T0),
        -h + c * T0 - 0.5 * d * T0**2,
        c - d * T0,
        0.5 * d,
    ])


def heat_capacity_change(molar_mass: float, liquid_heat_capacity: float | None = None) -> float:
    """Heat capacity of vaporisation at 298 K in J/(mol K), negative.

    Chickos, Hosseini, Hesse and Liebman, Struct. Chem. 4 (1993) 271: -(10.58 + 0.26 Cp_liq);
    liquid heat capacity taken as 1.7 J/(g K) where unknown (common practice, no source).
    ``molar_mass`` in kg/mol.
    """
    cp = liquid_heat_capacity if liquid_heat_capacity else 1700.0 * molar_mass
    return -(10.58 + 0.26 * cp)


def fit_curve(
    evidence: Iterable[Evidence],
    molar_mass: float,
    liquid_heat_capacity: float | None = None,
    donor: bool = False,
) -> Curve:
    """Fit one curve to points of unequal worth.

    Parameters
    ----------
    evidence : points, at least one; their sd must be positive
    molar_mass : kg/mol, for the prior of the curvature
    liquid_heat_capacity : J/(mol K) near 298 K, if known
    donor : whether there is an O-H or N-H, which makes the curve bend more

    Notes
    -----
    Priors: H0 = 70 - 3.82 ln(P0/Pa) kJ/mol, sd 6 kJ/mol (K.-U. Goss and R. Schwarzenbach,
    Environ. Sci. Technol. 33 (1999) 3390; figures from memory, high confidence); curvature
    from :func:`heat_capacity_change`, sd 25 %.

    Raises
    ------
    ModelError
        Without a point, or when the curve is not monotone over 200-470 K.
    """
    points = tuple(evidence)
    if not points:
        raise ModelError("No vapour-pressure data.", "Give a vapour pressure or a boiling point.")
    c = heat_capacity_change(molar_mass, liquid_heat_capacity) / GAS_CONSTANT
    c *= DONOR_BEND if donor else 1.0
    grid = np.linspace(*RANGE, 55)
    for share in (1.0, 0.6, 0.3):  # a volatile heavy molecule bends less than the rule says
        curve = _regression(points, share * c)
        if np.all(enthalpy(curve.coefficients, grid) > 0.0):
            return curve
    raise ModelError(
        "The vapour-pressure data contradict each other: the pressure would fall on heating.",
        "Check the temperatures and pressures given.",
    )


def _regression(points: tuple[Evidence, ...], c: float) -> Curve:
    """Weighted least squares with the priors as further rows; c is the curvature over R."""
    R = GAS_CONSTANT
    rows = [_row(p.temperature) / p.sd for p in points]
    target = [np.log(p.pressure) / p.sd for p in points]
    rows += [
        np.array([3.82e3 / R, 1.0, 0.0, 0.0]) / SLOPE_SD,
        np.array([0.0, 0.0, 1.0, 0.0]) / abs(0.25 * c),
        np.array([0.0, 0.0, 0.0, 1.0]) / 0.03,
    ]
    target += [70.0e3 / R / SLOPE_SD, c / abs(0.25 * c), 0.0]
    A = np.array(rows)
    theta = np.asarray(np.linalg.lstsq(A, np.array(target), rcond=None)[0], dtype=np.float64)
    return Curve(_coefficients(theta), np.asarray(np.linalg.inv(A.T @ A), dtype=np.float64))


def ln_pressure(coefficients: Array, T: ArrayLike) -> Array:
    """ln(P/Pa) for coefficients [..., 4] at T in K (broadcast)."""
    T = np.asarray(T, dtype=float)
    c = np.moveaxis(np.asarray(coefficients, dtype=float), -1, 0)
    return np.asarray(c[0] + c[1] / T + c[2] * np.log(T) + c[3] * T)


def pressure(coefficients: Array, T: ArrayLike) -> Array:
    """Saturation pressure in Pa of the (sub-cooled) liquid."""
    return np.asarray(np.exp(ln_pressure(coefficients, T)))


def enthalpy(coefficients: Array, T: ArrayLike) -> Array:
    """R T^2 dlnP/dT in J/mol: enthalpy of vaporisation if the vapour is ideal."""
    T = np.asarray(T, dtype=float)
    c = np.moveaxis(np.asarray(coefficients, dtype=float), -1, 0)
    return np.asarray(GAS_CONSTANT * (-c[1] + c[2] * T + c[3] * T**2))


def boiling_temperature(coefficients: Array, pressure_pa: float = ATMOSPHERE) -> float:
    """Temperature in K at which the saturation pressure is ``pressure_pa``.

    Raises
    ------
    OutOfRange
        When it lies outside 120-900 K.
    """
    target = np.log(pressure_pa)
    low, high = 120.0, 900.0
    rising = enthalpy(coefficients, np.linspace(low, high, 157)) > 0
    if not rising.all():  # stay on the branch that rises
        good = np.linspace(low, high, 157)[rising]
        low, high = float(good.min()), float(good.max())
    if not ln_pressure(coefficients, low) < target < ln_pressure(coefficients, high):
        raise OutOfRange(
            f"No boiling point between {low:.0f} and {high:.0f} K at {mbar(pressure_pa):.3g} "
            "mbar.",
            "Choose another pressure.",
        )
    for _ in range(200):
        middle = 0.5 * (low + high)
        if ln_pressure(coefficients, middle) < target:
            low = middle
        else:
            high = middle
        if high - low < 1e-10:
            break
    return 0.5 * (low + high)


def pressure_from_boiling_point(boiling_temperature_k: float, temperature_k: float) -> float:
    """Vapour pressure in Pa of a liquid from its normal boiling point alone.

    D. Mackay, A. Bobra, D. W. Chan and W. Y. Shiu, Environ. Sci. Technol. 16 (1982) 645:
    ln(P/atm) = -(4.4 + ln Tb) [1.803 (Tb/T - 1) - 0.803 ln(Tb/T)] (from memory, high
    confidence). Within about a factor 1.5 for hydrocarbons and chlorinated compounds, up to
    4 too high for strongly associated ones far below Tb.
    """
    r = boiling_temperature_k / temperature_k
    ln_atm = -(4.4 + np.log(boiling_temperature_k)) * (1.803 * (r - 1.0) - 0.803 * np.log(r))
    return float(ATMOSPHERE * np.exp(ln_atm))


@dataclass(frozen=True)
class Shape:
    """What the bias of Mackay's relation depends on.

    Attributes
    ----------
    flexible : share of the heavy atoms outside rings
    polar : any O, N, S or P
    donor : any O-H or N-H
    """

    flexible: float
    polar: bool
    donor: bool


def boiling_point_estimate(
    boiling_temperature_k: float, source: str, sd_k: float = 0.0, shape: Shape | None = None
) -> Evidence:
    """Vapour pressure at 313 K from the normal boiling point, corrected for the bias of the rule.

    Mackay's relation is too high for associated and for long molecules. Regression over the
    usual substances whose boiling point and vapour pressure at 313 K are both known: L =
    ln(Patm/P) is larger than the relation says by 2 % + f (6.4 % if polar + 17 % with a
    hydrogen-bond donor + 3.2 % for each unit of L beyond 8), f the flexible share; what is left
    scatters by 6.5 %. Without a structure 10 % are taken, with a scatter of 9 %.

    Parameters
    ----------
    boiling_temperature_k, sd_k : K, the boiling point and one standard deviation of it
    source : where it is from
    shape : of the molecule, None when the structure is not known
    """
    span = math.log(ATMOSPHERE / pressure_from_boiling_point(boiling_temperature_k, REFERENCE))
    excess, scatter = 0.10, 0.09
    if shape is not None:
        excess = 0.02 + shape.flexible * (
            0.064 * shape.polar + 0.17 * shape.donor + 0.032 * max(0.0, span - 8.0))
        scatter = 0.065
    span *= 1.0 + excess
    moved = (abs(span) + 11.0) * sd_k / boiling_temperature_k  # d ln P / d ln Tb, about
    sd = math.hypot(scatter * abs(span) + 0.1, moved)
    return Evidence(REFERENCE, ATMOSPHERE * math.exp(-span), sd,
                    f"Mackay et al. (1982) from {source}")
