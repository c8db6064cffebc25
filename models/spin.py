"""What the spin does: confines boiling to the surface and holds the liquid down.

Sources
-------
- Relative centrifugal force = omega^2 r / g (closed form); 1.118e-5 r_cm rpm^2 in the trade.
- Pressure in a rotating liquid: rho omega^2 (r2^2 - r1^2)/2 (closed form).
- Rise velocity of bubbles in a churning liquid: 1.53 (sigma G/rho)^(1/4) (Harmathy 1960,
  AIChE J. 6:281), void of a swelling liquid by the drift flux model (Zuber & Findlay 1965,
  J. Heat Transfer 87:453); both from memory, with G the centrifugal acceleration.
- A vessel filled above 60-65 % of its capacity throws liquid out (common practice, no
  source): liquid may swell to 80 % of capacity. The burst factor is an estimate; the
  parameter ``boil_over_limit`` learns what is wrong with it.
"""

from __future__ import annotations

import math
from typing import Final

STANDARD_GRAVITY: Final = 9.80665  # m/s2
SURFACE_TENSION: Final = 0.025  # N/m, usual organic solvents 0.018-0.035
USABLE_SHARE: Final = 0.80  # of the capacity
BURST_FACTOR: Final = 8.0  # momentary over mean vapour flux (estimate)
LEAST_ROOM: Final = 0.02  # of the liquid volume, keeps the index finite when overfilled


def angular_velocity(relative_centrifugal_force: float, radius: float) -> float:
    """Angular velocity (rad/s) that gives that multiple of gravity at that radius (m)."""
    return math.sqrt(relative_centrifugal_force * STANDARD_GRAVITY / radius)


def relative_centrifugal_force(radius: float, revolutions_per_minute: float) -> float:
    """Acceleration over that of gravity at a radius (m)."""
    omega = revolutions_per_minute * 2.0 * math.pi / 60.0
    return omega * omega * radius / STANDARD_GRAVITY


def hydrostatic_pressure(density: float, omega: float, inner: float, outer: float) -> float:
    """Pressure rise (Pa) from the liquid surface to its bottom in rotation.

    Parameters
    ----------
    density : kg/m3
    omega : rad/s
    inner, outer : m, radius of the liquid surface and of the bottom
    """
    return 0.5 * density * omega * omega * (outer * outer - inner * inner)


def rise_velocity(density: float, acceleration: float) -> float:
    """Rise velocity (m/s) of bubbles in a churning liquid (Harmathy 1960).

    Parameters
    ----------
    density : kg/m3 of the liquid
    acceleration : m/s2, centrifugal
    """
    return float(1.53 * (SURFACE_TENSION * acceleration / density) ** 0.25)
