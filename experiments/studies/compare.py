"""Run the strategy comparison: benches x strategies x replicates, in parallel.

    python -m experiments.studies.compare --set reported --replicates 3
    python -m experiments.studies.compare --set settled --strategies boilwright --jobs 1
    python -m experiments.studies.compare --dask tcp://scheduler:8786

Scores are appended play by play to ``scores.csv``, so a stopped study goes on where it
stopped; the summary is written at the end.
"""

from __future__ import annotations

import argparse
import json
import platform
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pandas as pd

from experiments.entries import EntryError
from experiments.progress import Progress
from experiments.studies.bench import Bench, Mapping
from experiments.studies.benches import REPORTED, SETTLED, make_bench
from experiments.studies.figures import compare_trials, summarise
from experiments.studies.markdown import write_tables
from experiments.studies.optimum import oracle_can_claim
from experiments.studies.playing import Goal, play
from experiments.studies.strategies import (
    ALL,
    OURS,
    MissingExtra,
    check_available,
    is_available,
    make_strategy,
)
from experiments.studies.strategy import Problem

RESULTS = Path(__file__).parent / "results"
BUDGETS = (6, 9, 12, 15, 20, 30)
OUR_BUDGETS = (6, 9, 12, 15)
ORACLE_TRIALS = 9
PACKAGES = ("boilwright", "numpy", "scipy", "numba", "scikit-learn", "optuna", "torch",
            "botorch", "chemicals")
SETS = {"settled": SETTLED, "reported": REPORTED}


@dataclass(frozen=True)
class Play:
    """One strategy on one bench with one noise seed."""

    family: str
    seed: int
    strategy: str
    replicate: int
    budgets: tuple[int, ...]


@lru_cache(maxsize=4)
def prepare(family: str, seed: int) -> tuple[Bench, Goal]:
    """A bench with its fastest truly feasible time."""
    bench = make_bench(family, seed)
    best = bench.best()
    oracle = best is not None and oracle_can_claim(bench, ORACLE_TRIALS)
    return bench, Goal(best[1] if best is not None else None, oracle)


def run_play(task: Play) -> list[Mapping]:
    """Play one task; the strategy's seed is its replicate."""
    from threadpoolctl import threadpool_limits

    bench, goal = prepare(task.family, task.seed)
    problem = Problem.of(bench, task.replicate)
    strategy = make_strategy(task.strategy, problem, max(task.budgets))
    with threadpool_limits(1):  # small matrices: more threads only get in each other's way
        return play(bench, goal, task.strategy, strategy, task.replicate, task.budgets)


def run_group(tasks: Sequence[Play]) -> list[Mapping]:
    """All plays of one bench, so that it is drawn and searched only once."""
    return [score for task in tasks for score in run_play(task)]


def plan(
    seeds: dict[str, Sequence[int]], strategies: Sequence[str], replicates: int
) -> list[list[Play]]:
    """Tasks grouped by bench."""
    return [
        [Play(family, seed, name, r, OUR_BUDGETS if name == OURS else BUDGETS)
         for name in strategies for r in range(replicates)]
        for family, numbers in seeds.items() for seed in numbers
    ]


def run_study(
    groups: Sequence[Sequence[Play]], scores: Path, *, jobs: int = 1, dask: str | None = None,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Run all groups that are not in ``scores`` yet and return every score."""
    done = _finished(scores)
    todo = [[t for t in group if (t.family, t.seed, t.strategy, t.replicate) not in done]
            for group in groups]
    todo = [group for group in todo if group]
    for k, result in enumerate(_results(todo, jobs, dask), start=1):
        _append(scores, result)
        if progress is not None:
            progress(k / len(todo), f"{k} of {len(todo)} benches")
    return pd.read_csv(scores)


def _results(
    groups: Sequence[Sequence[Play]], jobs: int, dask: str | None
) -> Iterator[list[Mapping]]:
    from joblib import Parallel, delayed

    with _backend(dask):
        yield from Parallel(n_jobs=jobs, return_as="generator_unordered")(
            delayed(run_group)(group) for group in groups
        )


@contextmanager
def _backend(address: str | None) -> Iterator[None]:
    """Local processes of joblib, or an existing Dask cluster."""
    if address is None:
        yield
        return
    try:
        from distributed import Client
    except ImportError:
        raise EntryError(
            "--dask needs the package distributed, which is not installed.",
            "Install the extra with pip install 'boilwright[study]', or leave the option out.",
        ) from None
    from joblib import parallel_config

    with Client(address), parallel_config(backend="dask"):
        yield


def _finished(scores: Path) -> set[tuple[str, int, str, int]]:
    if not scores.exists():
        return set()
    frame = pd.read_csv(scores, usecols=["family", "bench", "strategy", "replicate"])
    return {(str(f), int(b), str(s), int(r))
            for f, b, s, r in frame.drop_duplicates().itertuples(index=False)}


def _append(path: Path, rows: Iterable[Mapping]) -> None:
    frame = pd.DataFrame([
        {k: json.dumps(v) if isinstance(v, dict) else v for k, v in row.items()} for row in rows
    ])
    frame.to_csv(path, mode="a", header=not path.exists(), index=False)


def versions() -> dict[str, str]:
    """Versions of what the figures rest on."""
    found = {"python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def write_summary(scores: pd.DataFrame, folder: Path, arguments: Mapping) -> None:
    """summary.csv, trials.csv, study.json and summary.md from the scores."""
    figures = summarise(scores)
    figures.to_csv(folder / "summary.csv", index=False)
    trials = pd.concat([
        compare_trials(part, OURS).assign(family=family)
        for family, part in scores.groupby("family", sort=False)
    ])
    trials.to_csv(folder / "trials.csv", index=False)
    about = {"arguments": arguments, "versions": versions(),
             "benches": {f: sorted(map(int, p["bench"].unique()))
                         for f, p in scores.groupby("family")}}
    (folder / "study.json").write_text(json.dumps(about, indent=2) + "\n")
    (folder / "summary.md").write_text(write_tables(figures, trials, about))


def main(argv: Sequence[str] | None = None) -> int:
    """Command line of the full study."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", choices=sorted(SETS), default="reported", dest="which")
    parser.add_argument("--family", choices=["physical", "physics-free"], action="append")
    parser.add_argument("--strategies", nargs="+", choices=ALL, metavar="STRATEGY",
                        default=[n for n in ALL if is_available(n)],
                        help=f"of {', '.join(ALL)}; by default those that are installed")
    parser.add_argument("--benches", type=int, help="only the first of each family")
    parser.add_argument("--replicates", type=int, default=3)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--dask", metavar="ADDRESS")
    parser.add_argument("--out", type=Path, default=None)
    options = parser.parse_args(argv)
    try:
        for name in options.strategies:
            check_available(name)
    except MissingExtra as fault:
        parser.error(str(fault))
    families = options.family or list(SETS[options.which])
    seeds: dict[str, Sequence[int]] = {
        f: SETS[options.which][f][: options.benches] for f in families}
    folder = options.out or RESULTS / options.which
    folder.mkdir(parents=True, exist_ok=True)
    from tqdm import tqdm

    with tqdm(total=100, unit="%") as bar:
        def show(share: float, text: str) -> None:
            bar.update(100.0 * share - bar.n)
            bar.set_postfix_str(text)

        scores = run_study(plan(seeds, options.strategies, options.replicates),
                           folder / "scores.csv", jobs=options.jobs, dask=options.dask,
                           progress=show)
    write_summary(scores, folder, {k: v for k, v in vars(options).items() if k != "out"})
    return 0


if __name__ == "__main__":
    from experiments.studies import compare  # under its own name, where other processes find it

    raise SystemExit(compare.main())
