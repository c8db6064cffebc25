"""Heat from the warm wall into the liquid of one vessel.

The overall coefficient U is a parameter with a prior (:mod:`models.parameters`); this
module gives the areas it acts on.

Sources
-------
- Orders of U: steam to a boiling thin liquid 600-1700, glass wall of 2 mm about 575
  W/(m2 K) alone (general tables; Ludwig, Applied Process Design, vol. 3, Tables
  10-17/18); contact heating of a glass vessel is limited by its outer side, about 110
  (80-200), across a gas gap about 30 (15-60) W/(m2 K) (common practice, no source).
- A 400 mL flask takes 2-2.5 W/K at U = 110 W/(m2 K), which fixes the full wetted area
  0.020 m2 at 400 mL (common practice, no source); geometrically similar vessels scale with
  the 2/3 power of capacity (closed form).
- The warm glass above the liquid feeds its rim like a fin of length sqrt(k t/U)
  (Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, extended surfaces; from
  memory) with k = 1.1 W/(m K), t = 2 mm: an area that does not vanish with the liquid.
- Rarefied gas in a gap: temperature-jump conduction, 1/(1 + 2 zeta lambda/d) (Kennard,
  Kinetic Theory of Gases, 1938; from memory), lambda = 66 nm at 1 atm, zeta = 2.4,
  d = 0.5 mm (estimate).
"""

from __future__ import annotations

from typing import Final

import numpy as np

REFERENCE_CAPACITY: Final = 4.0e-4  # m3
REFERENCE_AREA: Final = 0.0200  # m2, wetted when brimful
RIM_LENGTH: Final = 0.126  # m, liquid rim in a 400 mL flask that is nearly empty (estimate)
GLASS_CONDUCTIVITY: Final = 1.1  # W/(m K)
GLASS_THICKNESS: Final = 2.0e-3  # m
TYPICAL_U: Final = {"contact": 110.0, "gas gap": 30.0}  # W/(m2 K)
GAP_PRESSURE: Final = 2.0 * 2.4 * 66e-9 / 0.5e-3 * 101325.0
"""Pa; at this pressure the temperature jump halves the conduction of a gas gap (64 Pa)."""


def full_area(capacity: float) -> float:
    """Wetted area (m2) of a brimful vessel of that capacity (m3)."""
    return float(REFERENCE_AREA * (capacity / REFERENCE_CAPACITY) ** (2.0 / 3.0))


def rim_area(capacity: float, heating: str) -> float:
    """Area (m2) through which the warm glass above the liquid feeds its rim.

    Parameters
    ----------
    capacity : m3
    heating : "contact" or "gas gap"
    """
    fin = np.sqrt(GLASS_CONDUCTIVITY * GLASS_THICKNESS / TYPICAL_U[heating])
    return float(RIM_LENGTH * (capacity / REFERENCE_CAPACITY) ** (1.0 / 3.0) * fin)
