"""From recorded trials to the rows the surrogate learns from."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from experiments.factor_space import FactorSpace
from experiments.job import EvaporationJob
from experiments.job_simulator import JobSimulator
from experiments.trials import Recovery, Result, Trial
from models.bench_data import BenchData
from models.noise import VESSEL_RSD, run_sd
from models.system import Array

USUAL_DEGREES = 20.0
LEAST_POOLED = 0.4
"""Recoveries below scatter too widely, relative to themselves, to speak for the others."""


def bench_data(
    job: EvaporationJob, trials: Sequence[Trial], simulator: JobSimulator, space: FactorSpace
) -> BenchData:
    """Pack recorded trials; recoveries of runs that boiled over or were not dry are left out."""
    settings = [t.setting for t in trials]
    results = [t.result for t in trials if t.result is not None]
    shape = (len(results), len(job.analytes))
    recovery, variance = np.full(shape, np.nan), np.full(shape, np.inf)
    for i, result in enumerate(results):
        if result.outcome != "finished" or result.corrected:
            continue
        for j, analyte in enumerate(job.analytes):
            if analyte.name in result.recovery:
                recovery[i, j], variance[i, j] = _mean_reading(
                    result, analyte.name, job.equipment.vessels
                )
    timed = [r.run_time_min if r.outcome in ("finished", "boil-over") else None for r in results]
    return BenchData(
        x=simulator.rows(settings),
        coded=space.code(settings),
        ln_time=np.array([math.log(60.0 * t) if t else math.nan for t in timed]),
        not_dry=np.array([r.outcome == "not dry" for r in results], dtype=bool),
        boiled_over=np.array([r.outcome == "boil-over" for r in results], dtype=bool),
        outcome_known=np.array([r.outcome != "aborted" for r in results], dtype=bool),
        recovery=recovery,
        within_variance=variance,
        same_day=same_day([r.day for r in results], job.limits.trials_per_batch),
        ln_cap=math.log(60.0 * job.limits.max_run_time_min),
    )


def same_day(days: Sequence[str], batch: int) -> Array:
    """Chance [n, n] that two runs were made on one day.

    Runs without a day are taken to come in batches of which nobody knows the members, so that
    the order of entry does not matter.
    """
    named = np.array([d.strip().casefold() for d in days], dtype=object)
    chance: Array = np.equal.outer(named, named).astype(float)
    unnamed = named == ""
    others = int(unnamed.sum()) - 1
    if others > 0:
        chance[np.ix_(unnamed, unnamed)] = min(batch - 1, others) / others
    np.fill_diagonal(chance, 1.0)
    return chance


def vessel_values(result: Result, analyte: str) -> Array:
    """Readings of one analyte as fractions; censored ones at half their limit."""
    found = [r for r in result.recovery.get(analyte, ()) if r is not None]
    return np.array([_value(r) for r in found]) / 100.0


def mean_and_vessels(result: Result, analyte: str, vessels: int) -> tuple[float, int]:
    """Mean of an analyte as a fraction and of how many vessels; (nan, 0) when not measured.

    A mean that was typed stands for all ``vessels`` of the evaporator.
    """
    values = vessel_values(result, analyte)
    if not len(values):
        return math.nan, 0
    return float(values.mean()), vessels if result.is_mean.get(analyte, False) else len(values)


def vessel_rsd(results: Sequence[Result], analyte: str) -> float:
    """Relative standard deviation of an analyte between the vessels of a run, positions included.

    Pooled over the finished runs with a mean above :data:`LEAST_POOLED`, to which the usual
    scatter adds the weight of :data:`USUAL_DEGREES` degrees of freedom.
    """
    degrees, squares = USUAL_DEGREES, USUAL_DEGREES * VESSEL_RSD**2
    for result in results:
        values = vessel_values(result, analyte)
        if result.outcome == "finished" and len(values) > 1 and values.mean() > LEAST_POOLED:
            degrees += len(values) - 1
            squares += float(((values / values.mean() - 1.0) ** 2).sum())
    return math.sqrt(squares / degrees)


def _value(reading: Recovery) -> float:
    return 0.5 * reading.percent if reading.censored else reading.percent


def _mean_reading(result: Result, analyte: str, vessels: int) -> tuple[float, float]:
    """Mean recovery and its variance within the run; (nan, inf) when nothing was measured.

    The mean is a fraction, the variance in squared units of the stabilised scale.

    A censored reading counts as uniform between zero and its limit. When the vessels of a
    run disagree more than usual, their own scatter replaces the usual one.
    """
    mean, count = mean_and_vessels(result, analyte, vessels)
    if not count:
        return math.nan, math.inf
    values = vessel_values(result, analyte)
    readings = [r for r in result.recovery[analyte] if r is not None]
    variance = (VESSEL_RSD * mean) ** 2 / count
    censored = [r.percent / 100.0 for r in readings if r.censored]
    variance += sum(limit**2 for limit in censored) / 12.0 / len(readings)
    if len(values) > 2:
        excess = float(values.var(ddof=1)) / len(values) - variance
        variance += max(excess, 0.0)
    return mean, variance / float(run_sd(np.array(mean))) ** 2
