"""What an earlier job taught, as a prior of the next: a mixture that runs can talk out of it.

With probability ``weight`` what was carried over holds, otherwise nothing of it does and the
usual prior stands; the runs decide between the two (a two-component mixture, robust in the
sense of Schmidli et al. 2014, Biometrics 70:1023). The trajectory parameters stand or fall
together, because another evaporator is another one in everything; each analyte by itself.

======== ==================================================== ==============
symbol   meaning                                              shape
======== ==================================================== ==============
z        standardised parameters of the surrogate             [P, D]
K        trajectory parameters, the first of the D            K <= D
A        analytes
======== ==================================================== ==============
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit
from scipy.stats import norm

from models.analyte_evidence import VOLATILITY_NODES, log_prior
from models.posterior import StandardNormal
from models.system import Array


@dataclass(frozen=True, eq=False)
class CarriedPrior:
    """Means and standard deviations on the standardised scales of the usual prior.

    Implements :class:`models.posterior.Prior`.

    Parameters
    ----------
    weight : probability beforehand that what was carried holds, between 0 and 1
    mean, sd : [K] of the trajectory parameters; 0 and 1 where nothing was carried
    volatility_mean, volatility_sd : [A] of each analyte's standardised ln volatility
        multiplier; 0 and 1 where nothing was carried
    """

    weight: float
    mean: Array
    sd: Array
    volatility_mean: Array
    volatility_sd: Array

    def without_equipment(self) -> CarriedPrior:
        """The same with the usual prior of the trajectory parameters."""
        return replace(self, mean=np.zeros_like(self.mean), sd=np.ones_like(self.sd))

    def draw(self, count: int, dimension: int, rng: np.random.Generator) -> Array:
        """Independent draws [count, dimension], the share ``weight`` of them as carried."""
        z = rng.standard_normal((count, dimension))
        held = rng.permutation(count) < round(self.weight * count)
        moved = self.mean + self.sd * z[:, : len(self.mean)]
        z[:, : len(self.mean)] = np.where(held[:, None], moved, z[:, : len(self.mean)])
        return z

    def log_density(self, z: Array) -> Array:
        """Log density [P] of draws z [P, D], but for a constant."""
        mixed = np.logaddexp(math.log(self.weight) + self._log_ratio(z),
                             math.log1p(-self.weight))
        return np.asarray(StandardNormal().log_density(z) + mixed)

    def holds(self, z: Array) -> float:
        """Probability that what was carried of the evaporator holds, from draws z [P, D]."""
        odds = math.log(self.weight) - math.log1p(-self.weight) + self._log_ratio(z)
        return float(expit(odds).mean())

    def _log_ratio(self, z: Array) -> Array:
        """Log density [P] of the parameters as carried over that of the usual prior."""
        known = z[:, : len(self.mean)]
        carried = norm.logpdf(known, self.mean, self.sd)
        return np.asarray((carried - norm.logpdf(known)).sum(axis=1))

    def log_node_prior(self) -> Array:
        """Log prior weight [A, nodes] of the grid of analyte parameters."""
        usual = norm.pdf(VOLATILITY_NODES)
        usual /= usual.sum()
        carried = norm.pdf(
            (VOLATILITY_NODES - self.volatility_mean[:, None]) / self.volatility_sd[:, None])
        carried /= carried.sum(axis=1, keepdims=True)
        ratio = self.weight * carried / usual + (1.0 - self.weight)
        nodes = len(log_prior()) // len(VOLATILITY_NODES)
        return np.asarray(log_prior() + np.repeat(np.log(ratio), nodes, axis=1))

    def volatility_holds(self, z: Array) -> Array:
        """Probability [A] that what was carried holds, from draws z [P, A]."""
        usual = norm.pdf(z)
        carried = norm.pdf(z, self.volatility_mean, self.volatility_sd)
        share = self.weight * carried / (self.weight * carried + (1.0 - self.weight) * usual)
        return np.asarray(share.mean(axis=0))
