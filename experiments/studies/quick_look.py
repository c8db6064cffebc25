"""The benchmark as the command line runs it: a few benches, a table and one sentence."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from experiments.progress import Progress
from experiments.studies.bench import Mapping
from experiments.studies.benches import REPORTED
from experiments.studies.compare import Play, plan, run_study, versions, write_summary
from experiments.studies.physical import drawn_kind
from experiments.studies.strategies import ALL, OURS, is_available

FIRST_SEED = 2000  # apart from the settled and the reported benches
TRIALS = 9
WITHIN = 0.25


def quick_seeds(count: int) -> list[int]:
    """Seeds of the first ``count`` physical benches from 2000 on that are not impossible."""
    found: list[int] = []
    seed = FIRST_SEED
    while len(found) < count:
        if drawn_kind(seed) != "impossible":
            found.append(seed)
        seed += 1
    return found


def quick(n_benches: int = 10, progress: Progress | None = None) -> dict[str, Any]:
    """Play Boilwright with nine trials on random physical benches whose physics differs.

    Returns ``text`` for people and, for machines, ``succeeded`` of ``benches`` (truly
    feasible and within 25 % of the fastest feasible time), ``plays`` and ``versions``.
    """
    if n_benches < 1:
        raise ValueError("The benchmark needs at least one bench.")
    groups = [[Play("physical", seed, OURS, 0, (TRIALS,))] for seed in quick_seeds(n_benches)]
    with tempfile.TemporaryDirectory() as folder:
        scores = run_study(groups, Path(folder) / "scores.csv", jobs=2, progress=progress)
    plays = [_line({str(k): v for k, v in row.items()}) for row in scores.to_dict("records")]
    won = sum(p["succeeded"] for p in plays)
    sentence = (
        f"After {TRIALS} trials the recommendation was truly feasible and within "
        f"{WITHIN:.0%} of the fastest feasible time on {won} of {len(plays)} random jobs."
    )
    return {"text": "\n".join([*_layout(plays), "", sentence]), "succeeded": won,
            "benches": len(plays), "plays": plays, "versions": versions()}


def full(
    n_benches: int, *, dask: str | None = None, progress: Progress | None = None
) -> dict[str, Any]:
    """Compare every installed strategy on the first ``n_benches`` of each reported family.

    The figures with intervals come back as Markdown in ``text``; the study for the
    documentation is run with ``python -m experiments.studies.compare``.
    """
    strategies = [name for name in ALL if is_available(name)]
    seeds: dict[str, Sequence[int]] = {f: s[:n_benches] for f, s in REPORTED.items()}
    with tempfile.TemporaryDirectory() as folder:
        scores = run_study(plan(seeds, strategies, 1), Path(folder) / "scores.csv", jobs=2,
                           dask=dask, progress=progress)
        write_summary(scores, Path(folder), {"benches": n_benches, "strategies": strategies})
        text = (Path(folder) / "summary.md").read_text()
    missing = [name for name in ALL if name not in strategies]
    if missing:
        text += (f"\nNot installed and left out: {', '.join(missing)}; "
                 "pip install 'boilwright[study]' brings them.\n")
    return {"text": text, "strategies": strategies, "missing": missing, "versions": versions()}


def _line(row: Mapping) -> dict[str, Any]:
    """One play for people and machines; numbers that do not exist are None."""
    known: dict[str, Any] = {
        k: None if pd.isna(row[k]) else row[k]
        for k in ("run_time", "best_time", "excess", "probability", "shortfall", "outcome")
    }
    feasible = bool(row["claimed"]) and str(row["feasible"]) == "True"
    return {
        "bench": int(row["bench"]), "kind": str(row["kind"]), "region": float(row["region"]),
        "claimed": bool(row["claimed"]), "feasible": feasible,
        "seconds_per_proposal": float(row["seconds_per_proposal"]), **known,
        "succeeded": feasible and bool(row["excess"] <= WITHIN),
    }


def _layout(plays: list[dict[str, Any]]) -> list[str]:
    lines = [f"{'bench':>6} {'kind':<8} {'region':>7} {'run, min':>9} {'best, min':>9} "
             f"{'excess':>7} {'stated':>7}  truly feasible"]
    for p in sorted(plays, key=lambda p: p["bench"]):
        excess = "-" if p["excess"] is None else f"{p['excess']:.0%}"
        run = "-" if p["run_time"] is None else f"{p['run_time']:.1f}"
        verdict = _verdict(p)
        lines.append(f"{p['bench']:>6} {p['kind']:<8} {p['region']:>7.1%} {run:>9} "
                     f"{p['best_time']:>9.1f} {excess:>7} {p['probability']:>7.1%}  {verdict}")
    return lines


def _verdict(p: dict[str, Any]) -> str:
    if not p["claimed"]:
        return "no recommendation"
    if p["feasible"]:
        return "yes"
    return (f"no, {p['shortfall']:.1f} points below" if p["outcome"] == "finished"
            else f"no, {p['outcome']}")
