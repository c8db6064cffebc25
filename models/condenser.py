"""What the condenser and the pump take away.

The condensing temperature of the vapour at pressure P is linearised about the condenser
temperature T_c with Clausius-Clapeyron, T - T_c = (R T_c^2/H) ln(P/P_bt), where P_bt, the
saturation pressure of the condensate at T_c, is the pressure of breakthrough: below it
nothing condenses and the vapour goes on to the pump.

The duty is ``power * (1 - exp(-(T - T_c)/APPROACH))``: full power when the vapour condenses
well above the coil, and falling to nothing at breakthrough; the form is that of an exchanger
with one side at constant temperature (closed form), the approach of 5-8 K is common
practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from models.compilation import inlined
from models.quantities import GAS_CONSTANT

APPROACH: Final = 6.5  # K


@inlined
def duty_share(
    pressure: float, breakthrough: float, temperature: float, enthalpy: float
) -> float:
    """Share of its power that a condenser can use; 0 at and below breakthrough.

    Parameters
    ----------
    pressure : Pa, in the chamber
    breakthrough : Pa, saturation pressure of the condensate at the condenser temperature
    temperature : K, of the condenser
    enthalpy : J/mol, of the vapour
    """
    if pressure <= breakthrough:
        return 0.0
    rise = GAS_CONSTANT * temperature * temperature / enthalpy * np.log(pressure / breakthrough)
    return 1.0 - np.exp(-rise / APPROACH)
