"""The fastest truly feasible setting of a bench, by dense sampling and local refinement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import norm, qmc

from experiments.studies.bench import Bench, Truth
from models.system import Array

Order = np.ndarray[Any, np.dtype[np.intp]]
SAMPLES = 1024
STARTS = 3
ROUNDS = 12
AROUND = 16


@dataclass(frozen=True, eq=False)
class Optimum:
    """A setting (free factors, [D]) and its true run time, min."""

    row: Array
    run_time: float


def window_sample(bench: Bench, count: int, seed: int = 0) -> Array:
    """[count, D] quasi-random settings over the whole window."""
    power = (count - 1).bit_length()  # Sobol points are balanced in powers of two only
    unit = qmc.Sobol(len(bench.free), scramble=True, seed=seed).random_base2(power)[:count]
    return np.asarray(bench.lower + unit * (bench.upper - bench.lower))


def shortfall(bench: Bench, truth: Truth) -> Array:
    """[N] how far a setting is from feasible: 0 feasible, points below target, 1000 unfinished."""
    missing = np.clip(bench.targets - truth.mean, 0.0, None).max(axis=1)
    unfinished = 1000.0 + np.clip(missing, 0.0, 100.0)
    return np.asarray(np.where(truth.status == 0, missing, unfinished))


def fastest_feasible(bench: Bench, samples: int = SAMPLES) -> Optimum | None:
    """Search the window for the fastest truly feasible setting; None when there is none."""
    rows = window_sample(bench, samples)
    truth = bench.evaluate(rows)
    gap = shortfall(bench, truth)
    time = np.where(np.isnan(truth.run_time), np.inf, truth.run_time)
    order = np.asarray(np.lexsort((time, gap)), dtype=np.intp)
    rng = np.random.default_rng(1)
    found = [
        refine(bench, rows[i], float(gap[i]), float(time[i]), rng)
        for i in _apart(bench, rows, order)
    ]
    row, gap_best, time_best = min(found, key=lambda f: (f[1], f[2]))
    return Optimum(row, time_best) if gap_best <= 0.0 else None


def _apart(bench: Bench, rows: Array, order: Order) -> list[int]:
    """Indices of the best rows that are not next to each other."""
    unit = (rows - bench.lower) / (bench.upper - bench.lower)
    chosen: list[int] = []
    for i in order:
        if all(np.abs(unit[i] - unit[j]).max() > 0.12 for j in chosen):
            chosen.append(int(i))
        if len(chosen) == STARTS:
            break
    return chosen


def refine(
    bench: Bench, row: Array, gap: float, time: float, rng: np.random.Generator
) -> tuple[Array, float, float]:
    """Shrinking random search around a row; returns row, shortfall and run time."""
    span = bench.upper - bench.lower
    radius = 0.10
    for _ in range(ROUNDS):
        step = rng.standard_normal((AROUND, len(row))) * radius
        step[: AROUND // 2] *= rng.uniform(size=(AROUND // 2, len(row))) < 0.5
        near = np.clip(row + step * span, bench.lower, bench.upper)
        truth = bench.evaluate(near)
        gaps = shortfall(bench, truth)
        times = np.where(np.isnan(truth.run_time), np.inf, truth.run_time)
        i = np.lexsort((times, gaps))[0]
        if (gaps[i], times[i]) < (gap, time):
            row, gap, time = near[i], float(gaps[i]), float(times[i])
        else:
            radius *= 0.55
    return row, gap, time


def oracle_can_claim(bench: Bench, trials: int = 9, samples: int = SAMPLES) -> bool:
    """Whether someone with the standard error of that many trials could claim anything.

    At each setting the mean recovery of each analyte is taken as known with the standard
    error of ``trials`` runs (effects of day and run, vessel scatter); a claim needs the
    probability that all targets are met to reach the assurance at some setting.
    """
    rows = window_sample(bench, samples)
    truth = bench.evaluate(rows)
    chance = oracle_probability(bench, truth, trials)
    best = int(np.argmax(chance))
    if chance[best] >= bench.assurance:
        return True
    rng = np.random.default_rng(2)
    span = bench.upper - bench.lower
    row, top, radius = rows[best], float(chance[best]), 0.10
    for _ in range(ROUNDS):
        near = np.clip(
            row + rng.standard_normal((AROUND, len(row))) * radius * span,
            bench.lower, bench.upper,
        )
        chances = oracle_probability(bench, bench.evaluate(near), trials)
        i = int(np.argmax(chances))
        if chances[i] > top:
            row, top = near[i], float(chances[i])
        else:
            radius *= 0.6
    return top >= bench.assurance


def oracle_probability(bench: Bench, truth: Truth, trials: float) -> Array:
    """[N] probability of meeting all targets when means are known to that standard error."""
    return chance_by_reading(bench, truth, truth.mean, mean_error(bench, truth, trials))


def mean_error(bench: Bench, truth: Truth, trials: float) -> Array:
    """[N, A] standard error (points) of the mean recovery over that many runs at a setting."""
    error = bench.noise.of_mean(truth.mean, trials, bench.vessels)
    return np.asarray(np.maximum(truth.mean * error, 1e-9))


def chance_by_reading(bench: Bench, truth: Truth, seen: Array, error: Array) -> Array:
    """[N] probability of meeting all targets by means seen [N, A] that have that error."""
    chance = norm.cdf((seen - bench.targets) / error).prod(axis=1)
    return np.asarray(np.where(truth.status == 0, chance, 0.0))
