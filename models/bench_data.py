"""What the bench gave, packed for learning: one row a run, in SI and natural logarithms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.system import Array


@dataclass(frozen=True, eq=False)
class BenchData:
    """Runs to learn from; n runs, D simulator columns, F coded factors, A analytes.

    Attributes
    ----------
    x : [n, D] rows handed to the simulator
    coded : [n, F] settings coded so that the window spans 0..1
    ln_time : [n] ln(run time/s); nan when the run gave none
    not_dry : [n] the run was still going at ``ln_cap``
    boiled_over : [n] liquid was thrown out (its recoveries are not used)
    outcome_known : [n] False for aborted runs
    recovery : [n, A] mean recovery as a fraction; nan when not measured or not usable
    within_variance : [n, A] variance of that mean by vessels and censoring, squared units of
        the stabilised scale (:mod:`models.noise`); the run effect comes on top
    same_day : [n, n] chance that two runs were made on one day; 1 on the diagonal
    ln_cap : ln of the longest run allowed, s
    """

    x: Array
    coded: Array
    ln_time: Array
    not_dry: NDArray[np.bool_]
    boiled_over: NDArray[np.bool_]
    outcome_known: NDArray[np.bool_]
    recovery: Array
    within_variance: Array
    same_day: Array
    ln_cap: float

    @property
    def runs(self) -> int:
        return len(self.x)
