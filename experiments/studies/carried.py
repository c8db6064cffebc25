"""What an earlier dossier saves in trials: ``python -m experiments.studies.carried``.

Each pair is two jobs on one simulated evaporator with different solvents, of other analytes or of
the same. The first is taught by nine runs over its window, or by as many as asked for; the second
is played by Boilwright cold and with what was carried over.
A third set of runs is made on another evaporator in its place. One line of JSON a pair is
appended to a file, so that a stopped study goes on where it stopped.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from experiments.carry_check import UNLIKELY
from experiments.carrying import AGAINST, probabilities
from experiments.dossier import Dossier
from experiments.job import Setting
from experiments.studies.bench import BATCH, Bench
from experiments.studies.json_lines import append_row, read_rows
from experiments.studies.optimum import fastest_feasible, window_sample
from experiments.studies.pairs import bench_pair
from experiments.studies.playing import excess_time
from experiments.studies.strategy import Problem

TAUGHT_BY = 9
COLD, WARM = (6, 9), (3, 6)
"""Numbers of trials after which the best setting of each play is scored."""
SEEDS = tuple(range(2200, 2300))


def play_pair(
    seed: int, analytes: str = "other", taught_by: int = TAUGHT_BY
) -> dict[str, Any]:
    """Excess times of the best setting after so many trials, and what was said of the carry."""
    pair = bench_pair(seed, analytes)
    best = fastest_feasible(pair.second)
    if best is None:
        raise RuntimeError(f"The second job of bench {seed} has no feasible setting.")
    earlier = _start(pair.first, None)
    _run(earlier, pair.first, _spread(pair.first, taught_by), first_day=0)
    swapped = _start(pair.second, earlier)
    _run(swapped, pair.swapped, _spread(pair.swapped, 2 * BATCH), first_day=50)
    cold, warm = _start(pair.second, None), _start(pair.second, earlier)
    found: dict[str, Any] = {
        "bench": seed, "analytes": analytes, "taught_by": taught_by, "best_min": best.run_time,
        "cold": _play(cold, pair.second, best.run_time, COLD),
        "warm": _play(warm, pair.second, best.run_time, WARM),
    }
    for name, dossier in (("same", warm), ("swapped", swapped)):
        check = dossier.fitted().time_check
        found[name] = {"holds": probabilities(dossier.fitted()).get("evaporator"),
                       "p_value": None if check is None else check.p_value}
    return found


def _start(bench: Bench, earlier: Dossier | None) -> Dossier:
    limits = {**bench.job["limits"], "trials": max(COLD)}
    return Dossier.start({**bench.job, "limits": limits}, earlier=earlier)


def _play(
    dossier: Dossier, bench: Bench, best_min: float, budgets: Sequence[int]
) -> dict[str, Any]:
    """Propose, run and recommend; the score at each budget."""
    scores = {}
    for budget in budgets:
        while len(dossier.recorded) < budget:
            trials = dossier.propose(BATCH)
            if not trials:
                break
            _run(dossier, bench, {t.id: t.setting for t in trials},
                 first_day=len(dossier.recorded) // BATCH)
        scores[str(budget)] = _score(dossier, bench, best_min)
    return scores


def _score(dossier: Dossier, bench: Bench, best_min: float) -> dict[str, Any]:
    """Of the fastest setting claimed, else the best compromise; excess null where it fails."""
    answer = dossier.recommend(robust=False)
    setting = answer.setting or (answer.compromise.setting if answer.compromise else None)
    if setting is None:
        raise RuntimeError("A recommendation always holds a setting or a compromise.")
    free = {f.name: setting[f.name] for f in bench.free}
    feasible = bench.is_feasible(free)
    return {"claimed": answer.setting is not None, "feasible": feasible,
            "excess": excess_time(bench, best_min, free) if feasible else None}


def _run(
    dossier: Dossier, bench: Bench, settings: Mapping[str, Setting], first_day: int
) -> None:
    """Run settings on the bench, three a day; keys that are no trial are new ones."""
    known = {t.id for t in dossier.trials}
    rng = np.random.default_rng([11, bench.seed, len(dossier.recorded), first_day])
    for i, (name, setting) in enumerate(settings.items()):
        day = first_day + i // BATCH
        free = {f.name: setting[f.name] for f in bench.free}
        given = bench.run(free, rng, day=day)
        where = {"trial_id": name} if name in known else {"setting": setting}
        dossier.record(**where, day=f"day {day}", **given)


def _spread(bench: Bench, count: int) -> dict[str, Setting]:
    """Settings over the window as an analyst would spread them, most of which end."""
    problem = Problem.of(bench, bench.seed)
    rows = window_sample(bench, 64, seed=bench.seed + 1)
    order = np.argsort(bench.evaluate(rows).status == 1, kind="stable")[:count]
    job = Dossier.start(dict(bench.job)).job
    fixed = {f.name: f.first_value for f in job.factors}
    chosen = [problem.dialled(bench.setting(rows[i])) for i in order]
    return {f"new {i}": {**fixed, **setting} for i, setting in enumerate(chosen)}


def summary(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """The figures over pairs in words; a setting that fails counts as an endless excess."""
    lines = []
    for play, budgets in (("cold", COLD), ("warm", WARM)):
        for budget in budgets:
            scores = [row[play][str(budget)] for row in rows]
            excess = np.array([np.inf if s["excess"] is None else s["excess"] for s in scores])
            low, middle, high = np.quantile(excess, [0.25, 0.5, 0.75], method="lower")
            lines.append(
                f"{play}, {budget} trials, {len(rows)} pairs: best setting feasible "
                f"{np.isfinite(excess).sum()}, claimed {sum(s['claimed'] for s in scores)}; "
                f"excess {middle:.0%} (quartiles {low:.0%} to {high:.0%})")
    gain = [_gain(row) for row in rows]
    lines.append(f"Six trials with what was carried against nine without: better in "
                 f"{gain.count(1)}, as good within 5 % in {gain.count(0)}, worse in "
                 f"{gain.count(-1)} pairs.")
    for name in ("same", "swapped"):
        told = [row[name] for row in rows]
        against = sum((t["p_value"] or 1.0) < UNLIKELY or (t["holds"] or 1.0) < AGAINST
                      for t in told)
        lines.append(f"{name} evaporator, six runs: said to speak against what was carried in "
                     f"{against} of {len(told)} pairs.")
    return lines


def _gain(row: Mapping[str, Any]) -> int:
    """1, 0 or -1: the carried play after six trials against the cold one after nine."""
    warm, cold = (np.inf if e is None else 1.0 + e for e in (
        row["warm"]["6"]["excess"], row["cold"]["9"]["excess"]))
    if warm == cold or warm / cold < 1.05 and cold / warm < 1.05:
        return 0
    return 1 if warm < cold else -1


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--pairs", type=int, default=30)
    parser.add_argument("--analytes", choices=("other", "same"), default="other",
                        help="of the second job, beside those of the first")
    parser.add_argument("--taught-by", type=int, default=TAUGHT_BY,
                        help="runs of the first job")
    parser.add_argument("--output", type=Path, default=Path("carried.jsonl"))
    given = parser.parse_args(argv)
    asked = given.analytes, given.taught_by
    rows = [r for r in read_rows(given.output) if (r.get("analytes"), r.get("taught_by")) == asked]
    tried = {row["bench"] for row in rows}
    for seed in SEEDS:
        if len(rows) >= given.pairs:
            break
        if seed in tried:
            continue
        try:
            rows.append(play_pair(seed, *asked))
        except RuntimeError as error:
            print(error)
            continue
        print(append_row(given.output, rows[-1]), flush=True)
    print(*summary(rows), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
