"""What nobody can beat at the noise of the bench: ``python -m experiments.studies.oracle``.

An oracle that knows every true mean with the standard error of so many runs at each setting
at once claims the fastest setting whose targets it can vouch for. Real trials tell of few
settings, so a strategy with as many trials knows less. Printed for possible physical benches
of the settling set, or with ``--quick`` for those of the quick benchmark: the share on which the
oracle could claim at all, its excess time over the fastest feasible setting, the share on which
that is at most 25 %, and how much of the truly feasible region the settings are that it could
vouch for.

That oracle has no bad luck. With ``--odds`` its readings are off by what they may be off by,
many times over, and it claims by them at several levels of assurance: a higher one leaves good
settings unclaimed, a lower one claims bad ones, and no level gets further than the best of them.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.studies.bench import Bench, Truth
from experiments.studies.benches import SETTLED
from experiments.studies.optimum import (
    chance_by_reading,
    fastest_feasible,
    mean_error,
    oracle_probability,
    window_sample,
)
from experiments.studies.physical import drawn_kind, physical_bench
from experiments.studies.quick_look import TRIALS, WITHIN, quick_seeds
from models.noise import with_common
from models.system import Array

SAMPLES = 4096
RUNS = (15.0, 12.0, 9.0, 4.5)
LEVELS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
PLAYS = 400


@dataclass(frozen=True, eq=False)
class Limit:
    """What the oracle gets with that many runs on N benches.

    ``excess`` [N] is its excess time, nan where it cannot claim; ``region`` [N] the size of the
    region it could vouch for, as a share of the truly feasible one.
    """

    runs: float
    excess: Array
    region: Array

    @property
    def sentence(self) -> str:
        """The figures in words."""
        can = np.isfinite(self.excess)
        claimed = self.excess[can]
        within = float((claimed <= WITHIN).sum()) / len(self.excess)
        middle = f"{np.median(claimed):.0%}" if can.any() else "-"
        return (f"With the error of {self.runs:g} runs at every setting: claims on "
                f"{can.mean():.0%} of {len(self.excess)} benches, median excess {middle}, "
                f"within {WITHIN:.0%} of the fastest on {within:.0%}; its region is "
                f"{np.median(self.region):.0%} of the true one in the median, at least half of "
                f"it on {np.mean(self.region >= 0.5):.0%}.")


def reach_of_oracle(seed: int) -> Array:
    """Excess time and share of the feasible region [runs, 2] for each of :data:`RUNS`.

    Where the oracle cannot claim the excess time is nan; where no setting is feasible, all is.
    """
    found = np.full((len(RUNS), 2), np.nan)
    known = _known(seed)
    if known is None:
        return found
    bench, truth, fastest = known
    feasible = max(int(bench.feasible(truth).sum()), 1)
    for i, runs in enumerate(RUNS):
        sure = oracle_probability(bench, truth, runs) >= bench.assurance
        found[i, 1] = sure.sum() / feasible
        if sure.any():
            found[i, 0] = truth.run_time[sure].min() / fastest - 1.0
    return found


def odds_of_oracle(seed: int, runs: float = TRIALS) -> Array:
    """Of a bench for each of :data:`LEVELS`, as :func:`odds`; nothing where none is feasible."""
    known = _known(seed)
    return np.zeros((len(LEVELS), 3)) if known is None else odds(*known, runs)


def _known(seed: int) -> tuple[Bench, Truth, float] | None:
    """A bench, what is true all over its window, and its fastest feasible run time (min)."""
    bench = physical_bench(seed)
    best = fastest_feasible(bench)
    if best is None:
        return None
    return bench, bench.evaluate(window_sample(bench, SAMPLES)), best.run_time


def odds(bench: Bench, truth: Truth, fastest: float, runs: float) -> Array:
    """Shares of plays [levels, 3] that claim, claim a good setting, and one that is fast, too.

    ``fastest`` is the run time (min) of the fastest feasible setting. The readings of a play are
    off by the same luck at every setting, so that no neighbours can tell what it was.
    """
    rng = np.random.default_rng([bench.seed, 5])
    error = mean_error(bench, truth, runs)
    good = bench.feasible(truth)
    fast = good & (truth.run_time <= (1.0 + WITHIN) * fastest)
    found = np.zeros((len(LEVELS), 3))
    for _ in range(PLAYS):
        own = rng.standard_normal((error.shape[1],))
        luck = with_common(rng.standard_normal((1,)), own, bench.noise.common)
        chance = chance_by_reading(bench, truth, truth.mean + error * luck, error)
        for i, level in enumerate(LEVELS):
            time = np.where(chance >= level, truth.run_time, np.inf)
            claimed = int(np.argmin(time))
            if np.isfinite(time[claimed]):
                found[i] += 1.0, good[claimed], fast[claimed]
    return found / PLAYS


def odds_in_words(found: Array) -> list[str]:
    """A line for each level of the odds [benches, levels, 3]."""
    return [
        f"Claiming at {level:.0%}: claims {claims:.0%}, truly feasible {good:.0%}, within "
        f"{WITHIN:.0%} of the fastest, too, {fast:.0%} of plays on {len(found)} benches."
        for level, (claims, good, fast) in zip(LEVELS, found.mean(axis=0), strict=True)
    ]


def limits(seeds: Sequence[int], jobs: int = 2) -> list[Limit]:
    """The figures over those of the seeds that have a feasible setting."""
    from joblib import Parallel, delayed

    found = np.array(Parallel(n_jobs=jobs)(delayed(reach_of_oracle)(s) for s in seeds))
    found = found[np.isfinite(found[:, 0, 1])]
    return [Limit(runs, *found[:, i].T) for i, runs in enumerate(RUNS)]


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--benches", type=int, default=60)
    parser.add_argument("--quick", action="store_true", help="those of the quick benchmark")
    parser.add_argument("--odds", action="store_true", help="with luck, at several levels")
    given = parser.parse_args(argv)
    seeds = quick_seeds(min(given.benches, 10)) if given.quick else [
        s for s in SETTLED["physical"][: given.benches] if drawn_kind(s) != "impossible"]
    if given.odds:
        lines = odds_in_words(np.array([odds_of_oracle(s) for s in seeds]))
    else:
        lines = [limit.sentence for limit in limits(seeds)]
    print("\n".join(lines))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
