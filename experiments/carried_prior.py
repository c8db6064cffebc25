"""What was carried over as the prior of a fit, on the standardised scales of the surrogate."""

from __future__ import annotations

import math

import numpy as np

from experiments.carry_over import CarryOver
from experiments.job import EvaporationJob
from models.carried import CarriedPrior
from models.parameters import INDEX, PARAMETERS, median_of
from models.system import Array


def carried_prior(carried: CarryOver, job: EvaporationJob, volatility_sd: Array) -> CarriedPrior:
    """The prior of a job's fit, on the standardised scales of the surrogate."""
    mean, sd = np.zeros(len(PARAMETERS)), np.ones(len(PARAMETERS))
    for name, value in carried.equipment.items():
        p = PARAMETERS[INDEX[name]]
        centre = median_of(p, job.equipment.heating)
        moved = math.log(value.centre / centre) if p.log else value.centre - centre
        mean[INDEX[name]], sd[INDEX[name]] = moved / p.sd, min(value.sd / p.sd, 1.0)
    known = [carried.analytes.get(a.name) for a in job.analytes]
    centres = [math.log(k.centre) / s if k else 0.0
               for k, s in zip(known, volatility_sd, strict=True)]
    spreads = [min(k.sd / s, 1.0) if k else 1.0
               for k, s in zip(known, volatility_sd, strict=True)]
    return CarriedPrior(carried.weight, mean, sd, np.array(centres), np.array(spreads))
