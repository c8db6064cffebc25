"""Three classes stand for the vessels of a batch: the slowest one, the slower and the faster.

A batch is over when its slowest vessel is, and a single wet vessel hardly loads the condenser:
so the slowest one of V vessels is a class of its own, at the place where the slowest of V normal
positions is expected. The others are halved into two classes such that mean and variance of the
position stay what they are. Up to three vessels there are three equal classes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.stats import norm

from models.system import Array

FEWEST = 4
"""Vessels from which the slowest one can be told from the others."""


class VesselClasses(NamedTuple):
    """``share`` [3] of the vessels in each class, ``place`` [3] in standard deviations."""

    share: Array
    place: Array


def vessel_classes(vessels: int) -> VesselClasses:
    """Classes of so many vessels, slowest first.

    The expected smallest of V normal values is that of Blom (Statistical estimates and
    transformed beta-variables, 1958): the normal quantile of (V - 0.375)/(V + 0.25).
    """
    if vessels < FEWEST:
        return VesselClasses(np.full(3, 1.0 / 3.0), np.sqrt(1.5) * np.array([-1.0, 0.0, 1.0]))
    slowest = float(norm.ppf((vessels - 0.375) / (vessels + 0.25)))
    rest = vessels - 1
    centre = slowest / rest
    half = np.sqrt((vessels - slowest**2) / rest - centre**2)
    return VesselClasses(np.array([1.0, 0.5 * rest, 0.5 * rest]) / vessels,
                         np.array([-slowest, centre - half, centre + half]))
