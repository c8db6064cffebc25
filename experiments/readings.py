"""From recorded trials to the rows the surrogate learns from."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from experiments.factor_space import FactorSpace
from experiments.job import EvaporationJob
from experiments.job_simulator import JobSimulator
from experiments.trials import LogReading, Recovery, Result, Trial, day_key, is_same_time
from models.bench_data import COURSE, PACE, START, BenchData, by_name
from models.noise import VESSEL_RSD, run_sd
from models.quantities import MINUTE
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
    time_variance, course, course_variance = _of_logs(trials)
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
        ln_time=np.array([math.log(MINUTE * t) if t else math.nan for t in timed]),
        time_variance=time_variance,
        course=course,
        course_variance=course_variance,
        not_dry=np.array([r.outcome == "not dry" for r in results], dtype=bool),
        boiled_over=np.array([r.outcome == "boil-over" for r in results], dtype=bool),
        outcome_known=np.array([r.outcome != "aborted" for r in results], dtype=bool),
        recovery=recovery,
        within_variance=variance,
        same_day=same_day([r.day for r in results], job.limits.trials_per_batch),
        ln_cap=math.log(MINUTE * job.limits.max_run_time_min),
        steers=space.steers,
        rank=by_name([a.name for a in job.analytes]),
    )


def _of_logs(trials: Sequence[Trial]) -> tuple[Array, Array, Array]:
    """What logs tell, as in ``BenchData``: ``time_variance``, ``course``, ``course_variance``.

    A run time that is not the log's is believed as it was entered; the log of an aborted run
    tells nothing that a whole run would do.
    """
    time = np.zeros(len(trials))
    course = np.full((len(trials), COURSE), np.nan)
    variance = np.zeros((len(trials), COURSE))
    for i, trial in enumerate(trials):
        log, result = trial.log, trial.result
        if log is None or result is None or result.outcome == "aborted":
            continue
        entered, read = result.run_time_min, log.run_time
        if read and entered and is_same_time(entered, read.min):
            time[i] = read.variance / read.min**2
        course[i], variance[i] = _course(log, entered, time[i])
    return time, course, variance


def _course(log: LogReading, run_time: float | None, relative: float) -> tuple[Array, Array]:
    """How a run went [4] and the variance of reading it [4]; ``relative`` that of its run time."""
    course, variance = np.full(COURSE, np.nan), np.zeros(COURSE)
    boil, half, most = log.boiling, log.half, log.most
    if boil is None or boil.middle <= 0.0:
        return course, variance
    start = boil.middle
    course[START], variance[START] = math.log(MINUTE * start), boil.variance / start**2
    if half is None or most is None or run_time is None or not (
        start < half.middle < most.middle < run_time
    ):
        return course, variance
    first, whole, rest = half.middle - start, most.middle - start, run_time - start
    course[PACE:] = math.log(MINUTE * whole), math.log(first / whole), math.log(rest / whole)
    of_most = most.variance / whole**2
    variance[PACE:] = (
        of_most + boil.variance / whole**2,
        of_most + half.variance / first**2 + boil.variance * (1.0 / first - 1.0 / whole) ** 2,
        of_most + relative * run_time**2 / rest**2
        + boil.variance * (1.0 / whole - 1.0 / rest) ** 2,
    )
    return course, variance


def same_day(days: Sequence[str], batch: int) -> Array:
    """Chance [n, n] that two runs were made on one day.

    Runs without a day are taken to come in batches of which nobody knows the members, so that
    the order of entry does not matter.
    """
    named = np.array([day_key(d) for d in days], dtype=object)
    chance: Array = np.equal.outer(named, named).astype(float)
    unnamed = named == ""
    others = int(unnamed.sum()) - 1
    if others > 0:
        chance[np.ix_(unnamed, unnamed)] = min(batch - 1, others) / others
    np.fill_diagonal(chance, 1.0)
    return chance


def vessel_values(result: Result, analyte: str) -> Array:
    """Readings [n] of one analyte as fractions; censored ones at half their limit."""
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

    A censored reading counts as uniform between zero and its limit, those of a run as equally
    far from it. When the vessels of a run disagree more than usual, their own scatter replaces
    the usual one.
    """
    mean, count = mean_and_vessels(result, analyte, vessels)
    if not count:
        return math.nan, math.inf
    values = vessel_values(result, analyte)
    readings = [r for r in result.recovery[analyte] if r is not None]
    variance = (VESSEL_RSD * mean) ** 2 / count
    censored = sum(r.percent / 100.0 for r in readings if r.censored)
    variance += (censored / len(readings)) ** 2 / 12.0
    if len(values) > 2:
        excess = float(values.var(ddof=1)) / len(values) - variance
        variance += max(excess, 0.0)
    return mean, variance / float(run_sd(np.array(mean))) ** 2
