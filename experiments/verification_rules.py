"""The criteria of a verification applied to summaries of runs, many possible sets at once.

The decision and the chance of passing both go through :func:`assess`, so the chance shown
before the first run is the chance of exactly the rules that decide after the last one.

========== ============================================= ==============
symbol     meaning                                       shape
========== ============================================= ==============
S          sets of runs judged at once (1 for a decision)
R, D, A    runs, days, deciding analytes
means      mean recovery of each run, percent            [S, R, A]
within     pooled variance between vessels of a run      [S, A]
each       readings behind a run mean                    [A]
========== ============================================= ==============
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import t

from experiments.acceptance import AnalyteCriteria, Criteria
from models.system import Array, Mask
from models.tolerance import nested_factors

Index = np.ndarray[Any, np.dtype[np.int_]]
ROUNDING = 1e-9
"""Percentage points by which a figure may miss a limit that it equals."""


@dataclass(frozen=True, eq=False)
class RunSummaries:
    """Sets of runs, reduced to what the criteria need."""

    means: Array
    within: Array
    each: Array
    within_degrees: Array  # [A] degrees of freedom of ``within``; 0 where it is unknown
    day: Index  # [R] index of the day of each run


@dataclass(frozen=True, eq=False)
class Assessment:
    """Figures [S, A] in percent and whether each criterion holds [S, A]."""

    mean: Array
    lower_limit: Array
    rsd: Array
    tolerance_limit: Array  # NaN where no action limit is set
    holds: dict[str, Mask]

    @property
    def all_hold(self) -> Mask:
        """Whether a set [S] meets every criterion for every analyte."""
        together = np.stack(list(self.holds.values()))
        return np.asarray(together.all(axis=(0, 2)))


def assess(runs: RunSummaries, criteria: Criteria) -> Assessment:
    """Apply the criteria to every set of runs.

    Runs of one day share that day and are averaged first; the confidence limit counts days,
    so more runs on few days never make a method look better known than it is.
    """
    rows = criteria.deciding
    by_day = day_means(runs)
    mean = by_day.mean(axis=1)
    days = by_day.shape[1]
    error = by_day.std(axis=1, ddof=1) / np.sqrt(days)
    lower = mean - float(t.ppf(criteria.confidence, days - 1)) * error
    between = np.maximum(runs.means.var(axis=1, ddof=1) - runs.within / runs.each, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rsd = np.where(mean > 0.0, 100.0 * np.sqrt(between + runs.within) / mean, np.inf)
    tolerance = _tolerance_limits(runs, mean, criteria)
    limit = {name: np.array([_value(row, name) for row in rows]) for name in
             ("target", "mean_low", "mean_high", "rsd_max", "action_limit")}
    return Assessment(mean, lower, rsd, tolerance, {
        "mean in band": _reaches(mean, limit["mean_low"]) & _reaches(-mean, -limit["mean_high"]),
        "scatter": _reaches(-rsd, -limit["rsd_max"]),
        "confidence limit": _reaches(lower, limit["target"]),
        "tolerance limit": (np.isnan(limit["action_limit"])
                            | _reaches(tolerance, limit["action_limit"])),
    })


def _reaches(found: Array, limit: Array) -> Mask:
    """Whether a figure is at its limit or above, but for the rounding of sums of decimals."""
    return np.asarray(found >= limit - ROUNDING)


def day_means(runs: RunSummaries) -> Array:
    """Means of the runs of each day, [S, D, A]."""
    index = np.unique(runs.day, return_inverse=True)[1]
    share = (index[None, :] == np.arange(index.max() + 1)[:, None]).astype(float)
    share /= share.sum(axis=1, keepdims=True)
    return np.asarray(np.einsum("dr,sra->sda", share, runs.means))


def _value(row: AnalyteCriteria, name: str) -> float:
    found = getattr(row, name)
    return np.nan if found is None else float(found)


def _tolerance_limits(runs: RunSummaries, mean: Array, criteria: Criteria) -> Array:
    """Lower tolerance limits for single vessels [S, A], where an action limit asks for one."""
    found = np.full(mean.shape, np.nan)
    count = runs.means.shape[1]
    between = runs.means.var(axis=1, ddof=1)
    for a, row in enumerate(criteria.deciding):
        if row.action_limit is None:
            continue
        known = runs.within_degrees[a] > 0
        each = float(runs.each[a]) if known else 1.0
        within = runs.within[:, a]
        factor = nested_factors(
            each * between[:, a] / np.maximum(within, 1e-300), count, each,
            float(runs.within_degrees[a]), criteria.coverage, criteria.confidence,
        )
        total = between[:, a] + (1.0 - 1.0 / each) * within
        found[:, a] = mean[:, a] - factor * np.sqrt(total)
    return found
