"""Whether run times agree with what was carried over of the evaporator.

A prior predictive check (Box 1980, J. R. Stat. Soc. A 143:383): the mean of ln(run time) over
the runs is compared with draws of it under what was carried over alone. It is asked before the
fit, because the discrepancy of the surrogate explains a wrong evaporator well enough to leave
what was carried over and the usual prior about as likely.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from models.bench_data import BenchData
from models.carried import CarriedPrior
from models.likelihood import TREND, Simulator, ln_run_time, scales_of, simulate

CHECKED = 1000
"""Draws of the check."""
UNLIKELY = 0.2
"""Chance below which run times speak against what was carried over; the check is slow to cry out,
so that of evaporators that are the same far fewer than one in five fall below it."""


@dataclass(frozen=True)
class TimeCheck:
    """Run times over what was carried over predicts, and the chance of one so far off."""

    ratio: float
    p_value: float

    @property
    def speaks_against(self) -> bool:
        return self.p_value < UNLIKELY


def time_check(
    prior: CarriedPrior, data: BenchData, simulator: Simulator, seed: int
) -> TimeCheck | None:
    """The check; None without a run time, or where nothing of the evaporator was carried.

    A discrepancy between run model and bench is taken as common to all runs, which makes the
    check slow to cry out.
    """
    timed = np.isfinite(data.ln_time)
    if not timed.any() or not np.any(prior.sd < 1.0):
        return None
    rng = np.random.default_rng([seed, 71])
    z = replace(prior, weight=1.0).draw(CHECKED, TREND, rng)
    scale, runs = scales_of(z), int(timed.sum())
    batch = simulate(simulator, data.x[timed], z)
    mean = ln_run_time(batch, runs, data.ln_cap).mean(axis=1)
    day = scale.time_day_variance
    together = float(data.same_day[np.ix_(timed, timed)].mean())
    variance = scale.time_discrepancy**2 + day * together + (scale.time_variance - day) / runs
    drawn = mean + np.sqrt(variance) * rng.standard_normal(CHECKED)
    seen = float(data.ln_time[timed].mean())
    fewest = float(min((drawn >= seen).sum(), (drawn <= seen).sum()))
    p_value = min(1.0, 2.0 * (1.0 + fewest) / (CHECKED + 1.0))
    return TimeCheck(math.exp(seen - float(np.median(drawn))), p_value)
