"""Whether the stated operating region is right: ``python -m experiments.studies.regions``.

On each simulated bench Boilwright plays twelve trials, then the settings of the window that it
says reach the assurance are held against the truth: settings drawn evenly (coded) from inside,
a shell of them just inside the edge, and the size of the stated region against that of the true
one. One line of JSON a bench is appended to a file, so that a stopped study goes on where it
stopped.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy.stats import qmc

from experiments.factor_space import FactorSpace
from experiments.fitted import Fitted
from experiments.job import Setting
from experiments.recommendation import recommend
from experiments.studies.bench import Bench
from experiments.studies.benches import REPORTED, SETTLED, make_bench
from experiments.studies.ours import Boilwright
from experiments.studies.strategy import Problem
from models.system import Array

BUDGET, BATCH = 12, 3
SPREAD = 1024
"""Settings over the window by which the sizes of the regions are compared."""
NEAR, WIDTH = 256, 0.04
"""Settings scattered (coded) around those inside, to have enough of them."""
AT_ONCE = 128
SHELL = 0.01
"""A setting is just inside the edge where its probability exceeds the assurance by no more."""
Mask = NDArray[np.bool_]
SETS = {"settled": SETTLED, "reported": REPORTED}


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
    rng = np.random.default_rng([7, bench.seed, 0])
    for day in range(BUDGET // BATCH):
        for setting in player.propose(BATCH):
            player.record(setting, bench.run(setting, rng, day=day))
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
    chance, good = _probability(fitted, spread), _truly_good(bench, spread)
    found: dict[str, Any] = {
        "share": float(np.mean(chance >= asked)),
        "true_share": float(np.mean(good)),
    }
    inside = [s for s, p in zip(spread, chance, strict=True) if p >= asked]
    if not inside:
        return found
    near = space.around(inside, NEAR, WIDTH, np.random.default_rng([97, bench.seed]))
    drawn = [*inside, *near]
    chance = np.concatenate([chance[chance >= asked], _probability(fitted, near)])
    good = _truly_good(bench, drawn)
    within, edge = chance >= asked, (chance >= asked) & (chance < asked + SHELL)
    return found | {
        "inside": int(within.sum()), "inside_good": int(good[within].sum()),
        "edge": int(edge.sum()), "edge_good": int(good[edge].sum()),
        "expected": float(chance[within].mean()),
        "together": _together(fitted, inside), "all_good": bool(good[: len(inside)].all()),
    }


def _probability(fitted: Fitted, settings: Sequence[Setting]) -> Array:
    """Stated probability [M], from points that are not kept."""
    chance = [
        float(fitted.success(point).mean())
        for at in range(0, len(settings), AT_ONCE)
        for point in fitted.draw(settings[at : at + AT_ONCE])
    ]
    return np.array(chance)


def _together(fitted: Fitted, settings: Sequence[Setting]) -> float:
    """Probability that all settings are good at once, by joint draws."""
    least = np.ones(1)
    for at in range(0, len(settings), AT_ONCE):
        for point in fitted.draw(settings[at : at + AT_ONCE]):
            least = np.minimum(least, fitted.sampled_success(point))
    return float(least.mean())


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
        low, high = _interval(shares)
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


def _interval(values: Array, draws: int = 2000) -> tuple[float, float]:
    """95 % bootstrap interval of a mean over benches."""
    rng = np.random.default_rng(5)
    means = values[rng.integers(len(values), size=(draws, len(values)))].mean(axis=1)
    low, high = np.quantile(means, [0.025, 0.975])
    return float(low), float(high)


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", choices=sorted(SETS), default="reported", dest="which")
    parser.add_argument("--benches", type=int, default=44)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--output", type=Path, default=Path("regions.jsonl"))
    given = parser.parse_args(argv)
    text = given.output.read_text("utf-8") if given.output.exists() else ""
    rows = [json.loads(line) for line in text.splitlines()]
    done = {row["bench"] for row in rows}
    todo = [s for s in SETS[given.which]["physical"][: given.benches] if s not in done]
    found = Parallel(n_jobs=given.jobs, return_as="generator_unordered")(
        delayed(look_at_region)("physical", seed) for seed in todo)
    for row in found:
        rows.append(row)
        with given.output.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
        print(json.dumps(row), flush=True)
    print(*summary(rows), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
