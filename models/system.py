"""What the run model must know of the liquid in one vessel, packed as arrays for the kernels.

Built by :mod:`models.mixture` from the property layer; plain numbers so that tests can
make one by hand.

======== ================================================= ==========
symbol   meaning                                           shape
======== ================================================= ==========
S        solvents, the keeper (if any) last
A        analytes
ln_p     ln(P_sat/Pa) = c0 + c1/T + c2 ln T + c3 T         [S, 4]
h_vap    H/(J/mol) = h0 + h1 T + h2 T^2                    [S, 3]
tau      NRTL: tau_ij = nrtl_a + nrtl_b / T, zero = ideal  [S, S]
======== ================================================= ==========
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.errors import Finding

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

GAMMA_REFERENCE_TEMPERATURE = 313.15
"""K; infinite-dilution ln(gamma) of the analytes is stored here and scales with 1/T."""


@dataclass(frozen=True, eq=False)
class LiquidSystem:
    """Solvents, keeper and analytes of one vessel; SI units throughout.

    Attributes
    ----------
    solvents : names, keeper last; ``has_keeper`` tells whether the last one is a keeper
    fraction : [S] volume fraction of the fill at 20 degC (keeper: 0)
    molar_mass : [S] kg/mol
    ln_p : [S, 4] saturation pressure coefficients, valid 200-470 K
    h_vap : [S, 3] enthalpy of vaporisation coefficients, J/mol
    density : [S] kg/m3 at 20 degC
    heat_capacity : [S] J/(mol K), liquid
    freezing_temperature : [S] K
    nrtl_a, nrtl_b, nrtl_alpha : [S, S] activity coefficients among the solvents
    analytes : names
    analyte_molar_mass : [A] kg/mol
    analyte_ln_p : [A, 4] of the (sub-cooled) liquid, ln Pa
    analyte_ln_gamma : [A, S] ln gamma at infinite dilution in each solvent at 313.15 K
    analyte_ln_gamma_pair : [A, S, S] upper triangle: ln gamma in a mixture is
        sum_j x_j g_j + sum_{j<k} x_j x_k q_jk, times 313.15/T
    analyte_ln_volatility_sd : [A] one standard deviation of ln(gamma P), from the sources
    analyte_ln_gamma_sd : [A] the part of it that is of ln(gamma), another one in other liquids
    findings : what the reader should know (ideal fallback, two phases, estimates)
    """

    solvents: tuple[str, ...]
    has_keeper: bool
    fraction: Array
    molar_mass: Array
    ln_p: Array
    h_vap: Array
    density: Array
    heat_capacity: Array
    freezing_temperature: Array
    nrtl_a: Array
    nrtl_b: Array
    nrtl_alpha: Array
    analytes: tuple[str, ...]
    analyte_molar_mass: Array
    analyte_ln_p: Array
    analyte_ln_gamma: Array
    analyte_ln_gamma_pair: Array
    analyte_ln_volatility_sd: Array
    analyte_ln_gamma_sd: Array
    findings: tuple[Finding, ...] = ()

    def moles(self, fill_volume_m3: float, keeper_volume_m3: float) -> Array:
        """Moles of each solvent, [S], for a fill with the keeper on top."""
        volume = self.fraction * fill_volume_m3
        if self.has_keeper:
            volume = volume.copy()
            volume[-1] += keeper_volume_m3
        return volume * self.density / self.molar_mass
