"""What the bench gave, packed for learning: one row a run, in SI and natural logarithms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.system import Array

START, PACE, FIRST_HALF, REST = range(4)
COURSE = 4
"""How a run goes: ln(start of boiling/s), ln(time from there until nine tenths of the solvents are
vapour/s), ln of the share of that time in which half of them go, and ln of the time from the start
of boiling to the stop over it."""


@dataclass(frozen=True, eq=False)
class BenchData:
    """Runs to learn from; n runs, D simulator columns, F coded factors, A analytes.

    Attributes
    ----------
    x : [n, D] rows handed to the simulator
    coded : [n, F] settings coded so that the window spans 0..1
    ln_time : [n] ln(run time/s); nan when the run gave none
    time_variance : [n] what reading ln_time off a log of instruments adds to its variance
    course : [n, 4] how the run went by such a log (:data:`COURSE`); nan where it does not tell
    course_variance : [n, 4] what reading it adds to its variances
    not_dry : [n] the run was still going at ``ln_cap``
    boiled_over : [n] liquid was thrown out (its recoveries are not used)
    outcome_known : [n] False for aborted runs
    recovery : [n, A] mean recovery as a fraction; nan when not measured or not usable
    within_variance : [n, A] variance of that mean by vessels and censoring, squared units of
        the stabilised scale (:mod:`models.noise`); the run effect comes on top
    same_day : [n, n] chance that two runs were made on one day; 1 on the diagonal
    ln_cap : ln of the longest run allowed, s
    steers : [F] 1 for factors that drive the boiling, over which the run model's boil-over
        limit may be wrong in a trend
    rank : [A] place of each analyte by its name: random numbers are dealt by it, so that the
        order in which a job names its analytes changes no answer
    """

    x: Array
    coded: Array
    ln_time: Array
    time_variance: Array
    course: Array
    course_variance: Array
    not_dry: NDArray[np.bool_]
    boiled_over: NDArray[np.bool_]
    outcome_known: NDArray[np.bool_]
    recovery: Array
    within_variance: Array
    same_day: Array
    ln_cap: float
    steers: Array
    rank: NDArray[np.int64]

    @property
    def runs(self) -> int:
        return len(self.x)

    @property
    def shape(self) -> tuple[int, ...]:
        """Of ``x``; it and indexing let scikit-learn split the runs."""
        return self.x.shape

    def __getitem__(self, rows: Any) -> BenchData:
        """The runs of those rows alone; scikit-learn asks for ``data[rows, ...]``."""
        keep = rows[0] if isinstance(rows, tuple) else rows
        each = {name: getattr(self, name)[keep] for name in OF_EACH_RUN}
        return replace(self, **each, same_day=self.same_day[np.ix_(keep, keep)])


def by_name(names: Sequence[str]) -> NDArray[np.int64]:
    """Place [A] of each name in alphabetical order."""
    order = np.argsort(np.array([n.casefold() for n in names], dtype=object), kind="stable")
    return np.asarray(np.argsort(order), dtype=np.int64)


OF_EACH_RUN = ("x", "coded", "ln_time", "time_variance", "course", "course_variance", "not_dry",
               "boiled_over", "outcome_known", "recovery", "within_variance")
"""Fields with one row a run."""
