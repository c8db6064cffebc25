"""Play one strategy on one bench and score what it claims at each budget.

A score is a flat mapping (one row of the results table). Times are true run times in
minutes, recoveries percentage points, excess relative to the fastest truly feasible time.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.job import Setting
from experiments.studies.bench import BATCH, Bench, Mapping
from experiments.studies.optimum import window_sample
from experiments.studies.strategy import LEVELS, Belief, Claim, Problem, Strategy

ELSEWHERE = 6  # further settings at which intervals are checked


@dataclass(frozen=True)
class Goal:
    """The fastest truly feasible setting of a bench, None where there is none."""

    run_time: float | None
    oracle: bool  # whether an oracle with the error of nine trials could claim at all


def play(
    bench: Bench, goal: Goal, name: str, strategy: Strategy, replicate: int,
    budgets: Sequence[int],
) -> list[Mapping]:
    """Run trials in batches of three up to the largest budget; one score per budget.

    The same bench and replicate give every strategy the same noise, run by run.
    """
    rng = scatter(bench, replicate)
    probes = probe_settings(bench)
    spent, injections, day = 0, 0, 0
    proposing: list[float] = []
    scores: list[Mapping] = []
    for budget in budgets:
        while spent < budget:
            began = time.perf_counter()
            settings = list(strategy.propose(min(BATCH, budget - spent)))
            proposing.append(time.perf_counter() - began)
            if not settings:
                break
            for result in run_batch(bench, strategy, settings, rng, day):
                spent += 1
                measured = zip(*result["recovery_percent"].values(), strict=True)
                injections += sum(any(r is not None for r in vessel) for vessel in measured)
            day += 1
        began = time.perf_counter()
        claim = strategy.claim()
        claiming = time.perf_counter() - began
        scores.append({
            "family": bench.family, "bench": bench.seed, "kind": bench.kind,
            "region": bench.region, "oracle": goal.oracle, "strategy": name,
            "replicate": replicate, "budget": budget, "trials": spent,
            "vessels": spent * bench.vessels, "injections": injections,
            "seconds_per_proposal": float(np.mean(proposing)) if proposing else 0.0,
            "seconds_to_recommend": claiming,
            **score_claim(bench, goal, claim),
            **score_probes(bench, probes, strategy.beliefs(probes)),
        })
    return scores


def scatter(bench: Bench, replicate: int) -> np.random.Generator:
    """The noise of a play, the same for every strategy."""
    return np.random.default_rng([7, bench.seed, replicate])


def run_batch(
    bench: Bench, strategy: Strategy, settings: Sequence[Setting], rng: np.random.Generator,
    day: int,
) -> list[Mapping]:
    """Run the settings of a day in their order and tell the strategy; what came back."""
    results = []
    for setting in settings:
        results.append(bench.run(setting, rng, day=day))
        strategy.record(setting, results[-1])
    return results


def score_claim(bench: Bench, goal: Goal, claim: Claim) -> Mapping:
    """How good a claim truly is."""
    score: Mapping = {
        "claimed": claim.setting is not None, "says_impossible": claim.impossible,
        "possible": goal.run_time is not None, "probability": claim.probability,
        "best_time": goal.run_time, "run_time": None, "feasible": None, "excess": None,
        "excess_min": None, "shortfall": None, "robust_excess": None, "robust_feasible": None,
        "compromise_feasible": None, "outcome": None, "setting": claim.setting,
    }
    for kind, hits in zip(("time", "recovery"), _hits(bench, [claim.setting or claim.compromise],
                                                      [claim.belief]), strict=True):
        score |= {f"claim_{kind}_{k}": v for k, v in hits.items()}
    if claim.compromise is not None:
        score["compromise_feasible"] = bench.is_feasible(claim.compromise)
    if claim.robust is not None:
        score["robust_feasible"] = bench.is_feasible(claim.robust)
        if goal.run_time is not None:
            score["robust_excess"] = excess_time(bench, goal.run_time, claim.robust)
    if claim.setting is None:
        return score
    run_time, recoveries, outcome = bench.truth(claim.setting)
    missing = bench.targets - np.array([recoveries[a] for a in bench.analytes])
    score |= {
        "outcome": outcome, "feasible": bench.is_feasible(claim.setting),
        "shortfall": float(max(missing.max(), 0.0)),
        "run_time": float(run_time) if np.isfinite(run_time) else None,
    }
    if goal.run_time is not None and np.isfinite(run_time):
        score["excess"] = excess_time(bench, goal.run_time, claim.setting)
        score["excess_min"] = run_time - goal.run_time
    return score


def excess_time(bench: Bench, fastest: float, setting: Setting) -> float | None:
    """True run time over the fastest feasible one (min), minus 1; None for a run without end."""
    run_time, _, _ = bench.truth(setting)
    return run_time / fastest - 1.0 if np.isfinite(run_time) else None


def probe_settings(bench: Bench) -> list[Setting]:
    """Settings over the window that truly finish, the same for every strategy."""
    rows = window_sample(bench, 64, seed=bench.seed + 5)
    finished = np.flatnonzero(bench.evaluate(rows).status == 0)[:ELSEWHERE]
    problem = Problem.of(bench, bench.seed)
    return [problem.dialled(bench.setting(rows[i])) for i in finished]


def score_probes(
    bench: Bench, settings: Sequence[Setting], beliefs: Sequence[Belief | None]
) -> Mapping:
    """Coverage of the intervals at settings chosen beforehand, as counts."""
    score: Mapping = {}
    for kind, hits in zip(("time", "recovery"), _hits(bench, settings, beliefs), strict=True):
        score |= {f"probe_{kind}_{k}": v for k, v in hits.items()}
    return score


def _hits(
    bench: Bench, settings: Sequence[Setting | None], beliefs: Sequence[Belief | None]
) -> tuple[Mapping, Mapping]:
    """Intervals that hold the truth, by level, and how many there were (finished runs)."""
    time: Mapping = {"n": 0} | {f"{level:.0%}": 0 for level in LEVELS}
    recovery: Mapping = dict(time)
    for setting, belief in zip(settings, beliefs, strict=True):
        if setting is None or belief is None:
            continue
        run_time, recoveries, outcome = bench.truth(setting)
        if outcome != "finished":
            continue
        time["n"] += 1
        recovery["n"] += len(bench.analytes)
        for level in LEVELS:
            low, high = belief.run_time[level]
            time[f"{level:.0%}"] += int(low <= run_time <= high)
            inside = [
                belief.recovery[a][level][0] <= recoveries[a] <= belief.recovery[a][level][1]
                for a in bench.analytes
            ]
            recovery[f"{level:.0%}"] += int(np.sum(inside))
    return time, recovery
