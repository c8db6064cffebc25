"""Whether the stated operating region is right: ``python -m experiments.studies.regions``.

On each simulated bench Boilwright plays twelve trials, then the settings of the window that it
says reach the assurance are held against the truth: settings drawn evenly (coded) from inside,
a shell of them just inside the edge, and the size of the stated region against that of the true
one. One line of JSON a bench is appended to a file, so that a stopped study goes on where it
stopped.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from scipy.stats import qmc

from experiments.factor_space import FactorSpace
from experiments.fitted import Fitted
from experiments.job import Setting
from experiments.recommendation import recommend
from experiments.studies.bench import BATCH, Bench
from experiments.studies.benches import make_bench
from experiments.studies.compare import SETS
from experiments.studies.figures import DRAWS, Ratio, bench_weights, interval
from experiments.studies.json_lines import append_row, read_rows
from experiments.studies.ours import Boilwright
from experiments.studies.playing import run_batch, scatter
from experiments.studies.strategy import Problem
from models.system import Array, Mask

BUDGET = 12
SPREAD = 1024
"""Settings over the window by which the sizes of the regions are compared."""
NEAR, WIDTH = 256, 0.04
"""Settings scattered (coded) around those inside, to have enough of them."""
AT_ONCE = 128
SHELL = 0.01
"""A setting is just inside the edge where its probability exceeds the assurance by no more."""


def look_at_region(family: str, seed: int) -> dict[str, Any]:
    """Play one bench and hold its stated region against the truth."""
    from threadpoolctl import threadpool_limits

    bench = make_bench(family, seed)
    with threadpool_limits(1):
        fitted = _played(bench)
        claimed = recommend(fitted, robust=False).status == "recommended"
        return {"family": family, "bench": seed, "claimed": claimed,
                **compare_regions(bench, fitted)}


def _played(bench: Bench) -> Fitted:
    """What is known of a bench after the trials that Boilwright chose."""
    player = Boilwright(Problem.of(bench, 0), BUDGET)
    rng = scatter(bench, 0)
    for day in range(BUDGET // BATCH):
        run_batch(bench, player, player.propose(BATCH), rng, day)
    return player.fitted


def compare_regions(bench: Bench, fitted: Fitted) -> dict[str, Any]:
    """Counts of settings inside the stated region, near its edge, and truly good ones.

    ``share`` and ``true_share`` are of the coded window; ``together`` is the probability stated
    that all settings drawn from inside are good at once, ``all_good`` whether they are.
    """
    asked = fitted.job.limits.assurance
    space = FactorSpace(fitted.job)
    unit = qmc.Sobol(len(space.free), scramble=True, seed=bench.seed).random(SPREAD)
    spread = space.from_unit(unit)
    (chance, met), good = _believed(fitted, spread), _truly_good(bench, spread)
    found: dict[str, Any] = {
        "share": float(np.mean(chance >= asked)),
        "true_share": float(np.mean(good)),
    }
    is_inside = chance >= asked
    inside = [s for s, within in zip(spread, is_inside, strict=True) if within]
    if not inside:
        return found
    near = space.around(inside, NEAR, WIDTH, np.random.default_rng([97, bench.seed]))
    drawn = [*inside, *near]
    chance = np.concatenate([chance[is_inside], _believed(fitted, near)[0]])
    good = _truly_good(bench, drawn)
    within, edge = chance >= asked, (chance >= asked) & (chance < asked + SHELL)
    return found | {
        "inside": int(within.sum()), "inside_good": int(good[within].sum()),
        "edge": int(edge.sum()), "edge_good": int(good[edge].sum()),
        "expected": float(chance[within].mean()),
        "together": float(met[is_inside].min(axis=0).mean()),
        "all_good": bool(good[: len(inside)].all()),
    }


def _believed(fitted: Fitted, settings: Sequence[Setting]) -> tuple[Array, Array]:
    """Stated probability [M], and whether all is met in each joint draw of the truth [M, P]."""
    points = [
        point for at in range(0, len(settings), AT_ONCE)
        for point in fitted.draw(settings[at : at + AT_ONCE])
    ]
    return (np.array([float(fitted.success(p).mean()) for p in points]),
            np.array([fitted.sampled_success(p) for p in points]))


def _truly_good(bench: Bench, settings: Sequence[Setting]) -> Mask:
    rows = np.array([bench.row(s) for s in settings])
    return bench.feasible(bench.evaluate(rows))


def summary(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """The figures over benches in words; intervals draw whole benches with replacement."""
    stated = [row for row in rows if row.get("inside")]
    possible = [row for row in rows if row["true_share"] > 0.0]
    lines = [f"{len(rows)} benches, {BUDGET} trials: {len(possible)} have a true region, "
             f"{len(stated)} a stated one."]
    if not stated:
        return lines
    for name, words in (("inside", "drawn from inside"), ("edge", "just inside the edge")):
        shares = np.array([row[f"{name}_good"] / row[name] for row in stated if row[name]])
        weights = bench_weights(np.arange(len(shares), dtype=float), DRAWS, seed=5)
        low, high = interval(Ratio(shares, np.ones(len(shares))).values(weights[1:]))
        lines.append(f"Settings {words} are truly good in {shares.mean():.1%} "
                     f"({low:.1%} to {high:.1%}; mean over {len(shares)} benches).")
    expected = np.mean([row["expected"] for row in stated])
    together = np.mean([row["together"] for row in stated])
    lines.append(f"Stated: {expected:.1%} each. All at once: stated {together:.0%}, true in "
                 f"{sum(row['all_good'] for row in stated)} of {len(stated)}.")
    for these, words in ((possible, "with a true region"), (stated, "with a stated one")):
        sizes = np.array([row["share"] / row["true_share"] for row in these if row["true_share"]])
        low, middle, high = np.quantile(sizes, [0.25, 0.5, 0.75])
        lines.append(f"Size of the stated region against the true one, benches {words}: median "
                     f"{middle:.0%} (quartiles {low:.0%} to {high:.0%}).")
    return lines


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", choices=sorted(SETS), default="reported", dest="which")
    parser.add_argument("--benches", type=int, default=44)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--output", type=Path, default=Path("regions.jsonl"))
    given = parser.parse_args(argv)
    rows = read_rows(given.output)
    done = {row["bench"] for row in rows}
    todo = [s for s in SETS[given.which]["physical"][: given.benches] if s not in done]
    found = Parallel(n_jobs=given.jobs, return_as="generator_unordered")(
        delayed(look_at_region)("physical", seed) for seed in todo)
    for row in found:
        rows.append(row)
        print(append_row(given.output, row), flush=True)
    print(*summary(rows), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
