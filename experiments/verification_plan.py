"""Planning a verification: how many runs, on which days, at which positions, with what chance.

The chance of passing is worked out before the first run, from what the true means may be and
what single runs scatter, through the very rules that will decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from experiments.acceptance import (
    RUNS,
    Criteria,
    check_criteria,
    criteria_payload,
    default_criteria,
    read_criteria,
)
from experiments.forecaster import Forecaster, TrueValues, pick_setting, true_values
from experiments.job import EvaporationJob, Setting
from experiments.verification_rules import Index, RunSummaries, assess
from models.noise import DAY_SHARE, DAY_SHARE_OF_TIME, with_common
from models.system import Array

SETS = 4000
"""Sets of runs imagined; the chance is then known to within 1.6 points."""
WANTED_CHANCE = 0.90
MOST_PLANNED_RUNS = 12
HOPELESS = 0.01
"""Chance of passing below which plans are not worth telling apart."""
TIME_MISS = 0.02
"""Share of verifications in which some run time may lie outside what was predicted."""


@dataclass(frozen=True)
class PlannedRun:
    """One run of the plan; ``day`` counts from 1, ``blank_vessel`` is None without a blank."""

    id: str
    day: int
    blank_vessel: int | None


@dataclass(frozen=True)
class DesignChance:
    """A number of runs and days with its chance of passing."""

    runs: int
    days: int
    chance: float


@dataclass(frozen=True)
class VerificationPlan:
    """Setting, criteria and runs, fixed before the first of them.

    ``needed_mean`` is, for each deciding analyte, the true mean in percent from which its own
    criteria pass with 90 % chance (None when the middle of its band does not reach that).
    """

    setting: Setting
    criteria: Criteria
    runs: tuple[PlannedRun, ...]
    chance_of_passing: float
    alternatives: tuple[DesignChance, ...]
    needed_mean: dict[str, float | None]
    run_time_low: float
    run_time_high: float
    probability: float


def plan(
    forecaster: Forecaster, setting: Setting, criteria: Criteria | None = None
) -> VerificationPlan:
    """Plan the verification of a setting.

    Parameters
    ----------
    forecaster : what is known of the job
    setting : the set point to verify
    criteria : written criteria with the wanted numbers of runs and days; without them the
        job's own targets, and the fewest runs that pass with 90 % chance (at most 12)
    """
    job = forecaster.job
    setting = pick_setting(job, setting)
    base = criteria if criteria is not None else default_criteria(job)
    truth = true_values(forecaster, setting, SETS, _rng(job))
    chances = _chances(job, truth, base)
    if criteria is None:
        best = _fewest(chances)
        base = check_criteria(replace(base, runs=best.runs, days=best.days))
    own = next(c for c in chances if (c.runs, c.days) == (base.runs, base.days))
    low, high = _predicted_times(job, truth, base)
    return VerificationPlan(
        setting=setting, criteria=base, runs=_schedule(job, base),
        chance_of_passing=own.chance, alternatives=chances,
        needed_mean=_needed_means(job, truth, base), run_time_low=float(low),
        run_time_high=float(high), probability=float(forecaster.probability([setting])[0]),
    )


def fewest_runs(job: EvaporationJob, truth: TrueValues) -> DesignChance:
    """The fewest runs and days that pass with the wanted chance; else the best chance there is."""
    return _fewest(_chances(job, truth, default_criteria(job)))


def _chances(
    job: EvaporationJob, truth: TrueValues, base: Criteria
) -> tuple[DesignChance, ...]:
    return tuple(
        DesignChance(runs, days, _chance(job, truth, replace(base, runs=runs, days=days)))
        for runs, days in _designs(base)
    )


def chance_of_passing(
    forecaster: Forecaster, setting: Setting, criteria: Criteria | None = None
) -> float:
    """Chance that a verification of the setting passes (job's criteria, six runs, six days)."""
    job = forecaster.job
    rules = criteria if criteria is not None else default_criteria(job, days=6)
    truth = true_values(forecaster, setting, SETS, _rng(job))
    return _chance(job, truth, rules)


def _rng(job: EvaporationJob) -> np.random.Generator:
    return np.random.default_rng([job.seed, 61])


def _designs(criteria: Criteria) -> list[tuple[int, int]]:
    """Numbers of runs and days to compare, the asked one among them."""
    found = {(criteria.runs, criteria.days)}
    for runs in range(3, MOST_PLANNED_RUNS + 1):
        found |= {(runs, days) for days in (3, 4, 5, 6, runs) if days <= runs}
    return sorted(found)


def _fewest(chances: tuple[DesignChance, ...]) -> DesignChance:
    """The fewest runs, then days, with the wanted chance; else the best chance there is."""
    good = [c for c in chances if c.chance >= WANTED_CHANCE]
    if good:
        return min(good, key=lambda c: (c.runs, c.days))
    if max(c.chance for c in chances) < HOPELESS:  # no number of runs helps
        return next(c for c in chances if (c.runs, c.days) == (RUNS, RUNS))
    return max(chances, key=lambda c: (round(c.chance, 2), -c.runs, -c.days))


def _schedule(job: EvaporationJob, criteria: Criteria) -> tuple[PlannedRun, ...]:
    """Runs dealt over the days; the blank goes round so that every position is used."""
    vessels = job.equipment.vessels
    order = np.random.default_rng([job.seed, 67]).permutation(vessels) + 1
    return tuple(
        PlannedRun(f"V{i + 1}", i % criteria.days + 1,
                   int(order[i % vessels]) if vessels >= 4 else None)
        for i in range(criteria.runs)
    )


def imagine_times(truth: TrueValues, criteria: Criteria, rng: np.random.Generator) -> Array:
    """Run times [sets, runs] in min that the truth may give; runs of one day share part."""
    day = np.arange(criteria.runs) % criteria.days
    sets = len(truth.time)
    shared = rng.standard_normal((sets, criteria.days))[:, day]
    alone = rng.standard_normal((sets, criteria.runs))
    effect = np.sqrt(DAY_SHARE_OF_TIME) * shared + np.sqrt(1.0 - DAY_SHARE_OF_TIME) * alone
    return np.asarray(truth.time[:, None] * np.exp(truth.time_sd[:, None] * effect))


def _predicted_times(job: EvaporationJob, truth: TrueValues, criteria: Criteria) -> Array:
    """Ends [2] between which all run times of a verification lie but for TIME_MISS, min."""
    times = imagine_times(truth, criteria, _rng(job))
    return np.array([np.quantile(times.min(axis=1), 0.5 * TIME_MISS),
                     np.quantile(times.max(axis=1), 1.0 - 0.5 * TIME_MISS)])


def _chance(job: EvaporationJob, truth: TrueValues, criteria: Criteria) -> float:
    """Share of imagined sets of runs that pass."""
    low, high = _predicted_times(job, truth, criteria)
    rng = _rng(job)
    times = imagine_times(truth, criteria, rng)
    runs = imagine_runs(job, truth, criteria, _deciding_columns(job, criteria), rng)
    high = min(high, criteria.max_run_time_min)
    in_time = ((times >= low) & (times <= high)).all(axis=1)
    calm = rng.random(len(truth.calm)) < truth.calm
    return float(np.mean(assess(runs, criteria).all_hold & in_time & calm))


def imagine_runs(
    job: EvaporationJob, truth: TrueValues, criteria: Criteria, columns: Index,
    rng: np.random.Generator,
) -> RunSummaries:
    """Sets of runs that the truth may give, reduced to summaries.

    Part of the run effect is common to the analytes of a run, as it is when learning.
    """
    vessels, runs = job.equipment.vessels, criteria.runs
    each = vessels - 1 if vessels >= 4 else vessels
    mean = truth.recovery[:, columns]
    run_scatter, vessel_sd = truth.run_sd[:, columns], truth.vessel_sd[:, columns]
    day = np.arange(runs) % criteria.days
    sets, analytes = mean.shape
    share = truth.common[:, None, None]
    shared = np.sqrt(DAY_SHARE) * _run_effects(rng, (sets, criteria.days, analytes), share)[:, day]
    alone = np.sqrt(1.0 - DAY_SHARE) * _run_effects(rng, (sets, runs, analytes), share)
    vessel = rng.standard_normal((sets, runs, analytes)) / np.sqrt(each)
    degrees = runs * (each - 1)
    within = vessel_sd**2
    if degrees:
        within = within * rng.chisquare(degrees, size=mean.shape) / degrees
    effects = run_scatter[:, None] * (shared + alone) + vessel_sd[:, None] * vessel
    return RunSummaries(
        np.maximum(mean[:, None] + effects, 0.0), within if degrees else np.zeros_like(within),
        np.full(analytes, float(each)), np.full(analytes, degrees), day,
    )


def _run_effects(
    rng: np.random.Generator, shape: tuple[int, int, int], share: Array
) -> Array:
    """Standardised effects [sets, runs, A] of which the analytes of a run have ``share``."""
    common = rng.standard_normal((*shape[:2], 1))
    return with_common(common, rng.standard_normal(shape), share)


def _deciding_columns(job: EvaporationJob, criteria: Criteria) -> Index:
    names = [a.name for a in job.analytes]
    return np.array([names.index(row.analyte) for row in criteria.deciding])


def _needed_means(
    job: EvaporationJob, truth: TrueValues, criteria: Criteria
) -> dict[str, float | None]:
    """For each deciding analyte the lowest true mean that passes with the wanted chance."""
    found: dict[str, float | None] = {}
    for row, column in zip(criteria.deciding, _deciding_columns(job, criteria), strict=True):
        alone = replace(criteria, analytes=(row,))

        def passes(mean: float, alone: Criteria = alone, column: int = int(column)) -> bool:
            moved = _at_mean(truth, column, mean)
            runs = imagine_runs(job, moved, alone, np.array([0]), _rng(job))
            return float(assess(runs, alone).all_hold.mean()) >= WANTED_CHANCE

        low = max(row.target, row.mean_low)
        high = 0.5 * (low + row.mean_high)
        found[row.analyte] = None
        if passes(high):
            while high - low > 0.25:
                middle = 0.5 * (low + high)
                low, high = (low, middle) if passes(middle) else (middle, high)
            found[row.analyte] = float(high)
    return found


def _at_mean(truth: TrueValues, column: int, mean: float) -> TrueValues:
    """The truth with one analyte known to have this mean, its relative scatter kept."""
    share = mean / np.maximum(truth.recovery[:, column : column + 1], 1e-9)
    return replace(
        truth, recovery=np.full((len(truth.time), 1), mean),
        run_sd=truth.run_sd[:, column : column + 1] * np.minimum(share, 3.0),
        vessel_sd=truth.vessel_sd[:, column : column + 1] * np.minimum(share, 3.0),
    )


def plan_payload(made: VerificationPlan) -> dict[str, Any]:
    """The plan as JSON data, for the record."""
    data = asdict(made)
    data["criteria"] = criteria_payload(made.criteria)
    return data


def read_plan(data: Mapping[str, Any]) -> VerificationPlan:
    """The plan of a "verification planned" record."""
    return VerificationPlan(
        setting=dict(data["setting"]), criteria=read_criteria(data["criteria"]),
        runs=tuple(PlannedRun(**r) for r in data["runs"]),
        chance_of_passing=float(data["chance_of_passing"]),
        alternatives=tuple(DesignChance(**c) for c in data["alternatives"]),
        needed_mean=dict(data["needed_mean"]), run_time_low=float(data["run_time_low"]),
        run_time_high=float(data["run_time_high"]), probability=float(data["probability"]),
    )
