"""What nobody can beat at the noise of the bench: ``python -m experiments.studies.oracle``.

An oracle that knows every true mean with the standard error of so many runs at each setting
at once claims the fastest setting whose targets it can vouch for. Real trials tell of few
settings, so a strategy with as many trials knows less. Printed for possible physical benches
of the settling set: the share on which the oracle could claim at all, its excess time over the
fastest feasible setting, and the share on which that is at most 25 %.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.studies.benches import SETTLED
from experiments.studies.optimum import fastest_feasible, oracle_probability, window_sample
from experiments.studies.physical import drawn_kind, physical_bench
from models.system import Array

SAMPLES = 4096
RUNS = (9.0, 4.5)
WITHIN = 0.25


@dataclass(frozen=True, eq=False)
class Limit:
    """Excess times [N] of the oracle with that many runs, nan where it cannot claim."""

    runs: float
    excess: Array

    @property
    def sentence(self) -> str:
        """The figures in words."""
        can = np.isfinite(self.excess)
        claimed = self.excess[can]
        within = float((claimed <= WITHIN).sum()) / len(self.excess)
        middle = f"{np.median(claimed):.0%}" if can.any() else "-"
        return (f"With the error of {self.runs:g} runs at every setting: claims on "
                f"{can.mean():.0%} of {len(self.excess)} benches, median excess {middle}, "
                f"within {WITHIN:.0%} of the fastest on {within:.0%}.")


def excess_of_oracle(seed: int) -> list[float]:
    """Excess time of the oracle for each of :data:`RUNS`; nan where it cannot claim."""
    bench = physical_bench(seed)
    best = fastest_feasible(bench)
    if best is None:
        return [float("nan")] * len(RUNS)
    truth = bench.evaluate(window_sample(bench, SAMPLES))
    found = []
    for runs in RUNS:
        sure = oracle_probability(bench, truth, runs) >= bench.assurance
        time = truth.run_time[sure]
        found.append(float(time.min()) / best.run_time - 1.0 if sure.any() else float("nan"))
    return found


def limits(seeds: Sequence[int], jobs: int = 2) -> list[Limit]:
    """The figures over those of the seeds that are not impossible."""
    from joblib import Parallel, delayed

    possible = [s for s in seeds if drawn_kind(s) != "impossible"]
    excess = np.array(Parallel(n_jobs=jobs)(delayed(excess_of_oracle)(s) for s in possible))
    return [Limit(runs, excess[:, i]) for i, runs in enumerate(RUNS)]


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--benches", type=int, default=60)
    given = parser.parse_args(argv)
    for limit in limits(SETTLED["physical"][: given.benches]):
        print(limit.sentence)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
