"""What each posterior particle believes of the bench beside the run model's parameters.

The discrepancies are those between the run model at its best parameters and the simulated
benches on which the method is settled, with room for worse; the noise levels are multipliers
on the usual ones of :mod:`models.noise`.

Physics may also be wrong altogether (a leak, a mistyped solvent, a law nobody thought of). So the
discrepancies have a heavy upper tail, and they are kin: a run model that is far off in run times
is likely far off in recoveries, even where those tried so far happen to agree.

What is lost on the way in and out of a vessel (rinsing, transfer, a volume made up) is lost of
every analyte alike. Without a name of its own it would pass for bad luck of each run, since that
too is common to the analytes, and the more analytes there are the more surely so. How much of a
run's luck is common to its analytes is learnt, too: taken as known, the small scatter among many
analytes would pass for small scatter among runs.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from scipy.special import expit, logit, ndtri

from models.noise import COMMON_SHARE, DAY_SHARE, DAY_SHARE_OF_TIME, RUN_TIME_SD
from models.system import Array

MEDIAN: Final = np.array([0.20, 1.0, 0.4, 1.0, COMMON_SHARE, 0.06, 1.0])
"""Prior medians in the order of :class:`Scales`; each but the two shares is lognormal."""
LOG_SD: Final = np.array([0.8, 0.30, 0.40, 0.0, 0.0, 0.8, 0.30])
COUNT: Final = len(MEDIAN)
OF_RECOVERY: Final = 5
"""So many of the first ones are all that recoveries depend on."""
RECOVERY, KEPT, COMMON, TIME = 0, 3, 4, 5
"""Places of the discrepancies, of what is kept and of what is common."""
COMMON_SPREAD: Final = 1.2
"""Standard deviation of the log odds of the common share (common practice, no source)."""
NONE_LOST: Final = 0.25
"""Standard normal score up to which nothing is lost of all alike: in three jobs of five."""
LOST: Final = 0.05
"""Logarithm of what is lost of all for each unit of the heavy-tailed score above that (common
practice, no source)."""
KINSHIP: Final = 0.8
"""Correlation of the two discrepancies' logarithms."""
TAIL: Final = 2.0
"""Beyond one standard deviation above its median, a discrepancy's logarithm goes on so much
faster than a normal one's."""


class Scales(NamedTuple):
    """Scales of P particles, each [P]."""

    recovery_discrepancy: Array  # standard deviation on the stabilised scale
    recovery_noise: Array  # multiplier
    length: Array  # of the discrepancies, in coded factors
    kept: Array  # share of every analyte that is not lost on the way, 0 to 1
    common: Array  # share of the run effect's variance that its analytes have in common
    time_discrepancy: Array  # standard deviation of ln(run time)
    time_noise: Array  # multiplier

    @classmethod
    def of(cls, z: Array) -> Scales:
        """From standardised values z [P, 7]."""
        scores = z.copy()
        own = math.sqrt(1.0 - KINSHIP**2)
        scores[:, TIME] = KINSHIP * z[:, RECOVERY] + own * z[:, TIME]
        for i in (RECOVERY, KEPT, TIME):
            scores[:, i] = heavy_tailed(scores[:, i])
        values = MEDIAN * np.exp(LOG_SD * scores)
        values[:, KEPT] = np.exp(-LOST * np.maximum(scores[:, KEPT] - NONE_LOST, 0.0))
        values[:, COMMON] = expit(logit(COMMON_SHARE) + COMMON_SPREAD * z[:, COMMON])
        return cls(*values.T.copy())

    def thinned(self, keep: slice) -> Scales:
        """Those of the particles kept."""
        return Scales(*(values[keep] for values in self))

    @property
    def time_variance(self) -> Array:
        """Variance [P] of ln(run time) of one run."""
        return np.asarray((RUN_TIME_SD * self.time_noise) ** 2)

    @property
    def time_day_variance(self) -> Array:
        """The part of it that the runs of one day share."""
        return np.asarray(DAY_SHARE_OF_TIME * self.time_variance)

    @property
    def own_variance(self) -> Array:
        """Variance [P] of the run effect that each analyte has alone, stabilised."""
        return np.asarray((1.0 - self.common) * self.recovery_noise**2)

    @property
    def own_day_variance(self) -> Array:
        """The part of it that the runs of one day share."""
        return np.asarray(DAY_SHARE * self.own_variance)

    @property
    def shared_sd(self) -> Array:
        """Standard deviation [P] of the effect common to the analytes of a run, stabilised."""
        return np.asarray(self.recovery_noise * np.sqrt(self.common))

    def amplitudes(self, analytes: int) -> Array:
        """Discrepancy standard deviations [P, 1 + A]: ln(run time), each recovery."""
        return _per_output(self.time_discrepancy, self.recovery_discrepancy, analytes)

    def day_variances(self, analytes: int) -> Array:
        """Variances [P, 1 + A] that the runs of one day share."""
        return _per_output(self.time_day_variance, self.own_day_variance, analytes)


def heavy_tailed(z: Array) -> Array:
    """Standard normal scores with the upper tail stretched by :data:`TAIL`; same shape."""
    return np.asarray(z + (TAIL - 1.0) * np.maximum(z - 1.0, 0.0))


def discrepancy_quantiles(share: float) -> tuple[float, float]:
    """That quantile of the discrepancy of recoveries and of run times before any run."""
    score = float(heavy_tailed(ndtri(np.array(share))))
    recovery, time = (float(MEDIAN[i] * math.exp(LOG_SD[i] * score)) for i in (RECOVERY, TIME))
    return recovery, time


def _per_output(time: Array, recovery: Array, analytes: int) -> Array:
    return np.repeat(np.column_stack([time, recovery]), (1, analytes), axis=1)
