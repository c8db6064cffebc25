"""Loss of analyte from liquid that stands still and from the film in a dry vessel.

Sources
-------
- Diffusion through the vapour above: D = 7e-6 m2/s at 298 K and 1 atm for semi-volatiles of
  10 to 16 carbon atoms (Fuller, Schettler & Giddings 1966, Ind. Eng. Chem. 58:18 gives
  6-8e-6 in air; from memory), proportional to T^1.75/P; path 50 mm (estimate).
- Ceiling at low pressure: Hertz-Knudsen, P/sqrt(2 pi M R T), times an effective
  accommodation of 0.003 (estimate: real rates are far below the ceiling). Both resist in
  series.
- Convection and diffusion together: the flux v c/(1 - exp(-v/k)) of the one-dimensional
  Stefan problem (Bird, Stewart & Lightfoot, Transport Phenomena, section 22.8; closed form):
  Rayleigh distillation at high vapour flux, pure diffusion when nothing boils.
- The film: ideal solution of the analyte in the residue (molar mass 0.3 kg/mol, estimate),
  in a keeper too small to stay liquid (its moles over the analyte's activity coefficient in
  it) and in the other analytes, so that dn/dt = -r n/(n + n_res): a constant rate for a pure
  film, first order in residue. Film area 3 cm2 in a 250 mL vessel (1-5 cm2, common practice,
  no source).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from models.compilation import inlined, kernel
from models.quantities import GAS_CONSTANT

DIFFUSIVITY: Final = 7.0e-6  # m2/s at 298.15 K, 101325 Pa
PATH: Final = 0.05  # m
ACCOMMODATION: Final = 0.003
FILM_AREA: Final = 3.0e-4  # m2, in a vessel of 250 mL
FILM_CAPACITY: Final = 2.5e-4  # m3
SURFACE_SHAPE: Final = 1.5
"""Free surface = 1.5 V^(2/3): a cylinder as deep as wide has 1.46 (closed form)."""
RESIDUE_MOLAR_MASS: Final = 0.3  # kg/mol
THERMAL_REFERENCE: Final = 313.15  # K
THERMAL_ACTIVATION: Final = 90.0e3  # J/mol, usual for decomposition in solution (estimate)


def film_area(capacity: float) -> float:
    """Area (m2) of the film left in a dry vessel of that capacity (m3)."""
    return float(FILM_AREA * (capacity / FILM_CAPACITY) ** (1.0 / 3.0))


def kinetic_velocity(molar_mass: float) -> float:
    """Hertz-Knudsen velocity over sqrt(T), times the accommodation, m/(s K^0.5).

    Parameters
    ----------
    molar_mass : kg/mol
    """
    return float(ACCOMMODATION * np.sqrt(GAS_CONSTANT / (2.0 * np.pi * molar_mass)))


@inlined
def diffusion_velocity(temperature: float, pressure: float) -> float:
    """D over path, m/s, at K and Pa."""
    root = np.sqrt(temperature / 298.15)
    power = root * root * root * np.sqrt(root)  # ^1.75
    return DIFFUSIVITY / PATH * (101325.0 / pressure) * power


@inlined
def transfer_velocity(diffusion: float, kinetic: float, temperature: float) -> float:
    """Both resistances in series, m/s.

    Parameters
    ----------
    diffusion : m/s, from :func:`diffusion_velocity`
    kinetic : m/(s K^0.5), from :func:`kinetic_velocity`
    temperature : K
    """
    ceiling = kinetic * np.sqrt(temperature)
    return diffusion * ceiling / (diffusion + ceiling)


@kernel
def wright_omega(z: float) -> float:
    """Solution w > 0 of w + ln w = z (Corless & Jeffrey 2002), to double precision."""
    if z < -40.0:
        return np.exp(z)
    if z > 2.0:
        w = z - np.log(z)
    elif z > -2.0:
        w = 0.567 * np.exp(0.64 * z)
    else:
        w = np.exp(z)
    for _ in range(4):  # Fritsch, Shafer & Crowley 1973
        r = z - w - np.log(w)
        s = 1.0 + w
        q = 2.0 * s * (s + 2.0 / 3.0 * r)
        w *= 1.0 + r / s * (q - r) / (q - 2.0 * r)
        if abs(r) < 1e-4 * s:  # what is left is of its fourth power
            break
    return w


@kernel
def film_left(start: float, solvent: float, dose: float) -> float:
    """Amount of analyte left in the film, in the unit of ``start``.

    Solves n + n_res ln n = n0 + n_res ln n0 - dose.

    Parameters
    ----------
    start : n0, amount when the vessel falls dry
    solvent : n_res, what the film is dissolved in
    dose : loss of a pure film until now
    """
    if start <= 0.0:
        return 0.0
    if solvent <= 1e-9 * start:
        return max(start - dose, 0.0)
    return solvent * wright_omega((start - dose) / solvent + np.log(start / solvent))
