"""Figures of merit from the scores of a study, with bootstrap intervals by bench.

Scores are the rows of :mod:`experiments.studies.playing`. Intervals are 95 % percentile
intervals of a cluster bootstrap: whole benches are drawn with replacement, because the
replicates of one bench are not independent. Every figure is a :class:`Ratio` or a
:class:`Quantile` of per-play numbers, so a draw is a vector of weights and all draws are
taken at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from experiments.studies.strategy import LEVELS
from models.system import Array

DRAWS = 2000
SUCCESS_WITHIN = 0.10
HANDLING_MIN = 20.0
NEVER = 30  # trials at which a strategy that never gets there is counted
TARGET_EXCESS, TARGET_FEASIBLE = 0.15, 0.90


@dataclass(frozen=True, eq=False)
class Ratio:
    """sum(w top) / sum(w bottom) over plays; ``bottom`` None gives the weighted sum."""

    top: Array
    bottom: Array | None

    def values(self, weights: Array) -> Array:
        """[B] for weights [B, N]; nan where nothing counts."""
        top = weights @ self.top
        if self.bottom is None:
            return np.asarray(top)
        bottom = weights @ self.bottom
        return np.asarray(np.where(bottom > 0, top / np.where(bottom > 0, bottom, 1.0), np.nan))


@dataclass(frozen=True, eq=False)
class Quantile:
    """Weighted quantile (inverse of the distribution function) of the numbers that count."""

    numbers: Array
    counts: Array  # 0 or 1
    level: float

    def values(self, weights: Array) -> Array:
        """[B] for weights [B, N]; nan where nothing counts."""
        kept = self.counts > 0
        if not kept.any():
            return np.full(len(weights), np.nan)
        order = np.argsort(self.numbers[kept])
        sorted_numbers = self.numbers[kept][order]
        cumulated = np.cumsum(weights[:, kept][:, order], axis=1)
        total = cumulated[:, -1]
        reached = cumulated >= (self.level * total - 1e-9)[:, None]
        found = sorted_numbers[np.argmax(reached & (cumulated > 0), axis=1)]
        return np.asarray(np.where(total > 0, found, np.nan))


Figure = Ratio | Quantile
Maker = Callable[[pd.DataFrame], Figure]


def _column(frame: pd.DataFrame, name: str) -> Array:
    """A column as numbers; nan where it is empty, 1 and 0 for true and false."""
    values = frame[name].map({True: 1.0, False: 0.0, "True": 1.0, "False": 0.0}.get) if (
        frame[name].dtype == object or frame[name].dtype == bool) else frame[name]
    return np.asarray(pd.to_numeric(values, errors="coerce"), dtype=float)


def _share(what: str, among: str | None = None, *, negate: bool = False) -> Maker:
    def make(frame: pd.DataFrame) -> Figure:
        values = _column(frame, what)
        counts = (~np.isnan(values)).astype(float)
        if among is not None:
            flag = np.nan_to_num(_column(frame, among))
            counts = counts * ((1.0 - flag) if negate else flag)
        return Ratio(np.nan_to_num(values) * counts, counts)

    return make


def success(frame: pd.DataFrame) -> Figure:
    """Recommended, truly feasible and within 10 % of the fastest, among possible benches."""
    possible = _column(frame, "possible")
    good = (_column(frame, "feasible") == 1.0) & (_column(frame, "excess") <= SUCCESS_WITHIN)
    return Ratio(good * possible, possible)


def excess(level: float, *, claims_only: bool, oracle_only: bool = True) -> Maker:
    """Quantile of the relative excess time on possible benches.

    Without a recommendation, or with an infeasible one, the excess counts as infinite
    unless ``claims_only``; ``oracle_only`` keeps the benches on which an oracle with the
    standard error of nine trials could claim.
    """

    def make(frame: pd.DataFrame) -> Figure:
        feasible = _column(frame, "feasible") == 1.0
        counts = _column(frame, "possible")
        if oracle_only:
            counts = counts * _column(frame, "oracle")
        if claims_only:
            counts = counts * feasible
        return Quantile(np.where(feasible, _column(frame, "excess"), np.inf), counts, level)

    return make


def _median_of_feasible(compute: Callable[[pd.DataFrame], Array]) -> Maker:
    def make(frame: pd.DataFrame) -> Figure:
        numbers = compute(frame)
        counts = (_column(frame, "feasible") == 1.0) & ~np.isnan(numbers)
        return Quantile(np.nan_to_num(numbers), counts.astype(float), 0.5)

    return make


def _with_handling(frame: pd.DataFrame) -> Array:
    run, best = _column(frame, "run_time"), _column(frame, "best_time")
    return np.asarray((run + HANDLING_MIN) / (best + HANDLING_MIN) - 1.0)


def _moved(frame: pd.DataFrame) -> Array:
    robust, edge = _column(frame, "robust_excess"), _column(frame, "excess")
    return np.asarray((1.0 + robust) / (1.0 + edge) - 1.0)


def _missed(frame: pd.DataFrame) -> tuple[Array, Array]:
    """Claims and misses among them, as 0 or 1."""
    claimed = _column(frame, "claimed")
    return claimed, claimed * (_column(frame, "feasible") != 1.0)


def misses(frame: pd.DataFrame) -> Figure:
    """Recommendations that are not truly feasible."""
    return Ratio(_missed(frame)[1], None)


def stated_risk(frame: pd.DataFrame) -> Figure:
    """Sum of 1 - stated probability over the recommendations."""
    return Ratio(_missed(frame)[0] * (1.0 - np.nan_to_num(_column(frame, "probability"))), None)


def false_assurance(frame: pd.DataFrame) -> Figure:
    """Misses per claim beyond what the stated probabilities allow."""
    claimed, missed = _missed(frame)
    risk = claimed * (1.0 - np.nan_to_num(_column(frame, "probability")))
    return Ratio(missed - risk, claimed)


def shortfall_of_misses(frame: pd.DataFrame) -> Figure:
    """Median points below target among the misses."""
    return Quantile(np.nan_to_num(_column(frame, "shortfall")), _missed(frame)[1], 0.5)


def coverage(kind: str, level: float, where: str) -> Maker:
    """Share of intervals at that level that hold the truth; kind "time" or "recovery"."""
    return lambda frame: Ratio(_column(frame, f"{where}_{kind}_{level:.0%}"),
                               _column(frame, f"{where}_{kind}_n"))


FIGURES: dict[str, Maker] = {
    "recommended": _share("claimed", "possible"),
    "truly feasible": _share("feasible", "claimed"),
    "success within 10 %": success,
    "median excess": excess(0.5, claims_only=False),
    "90th percentile excess": excess(0.9, claims_only=False),
    "median excess of feasible claims": excess(0.5, claims_only=True),
    "90th percentile excess of feasible claims": excess(0.9, claims_only=True),
    "median excess, min": _median_of_feasible(lambda f: _column(f, "excess_min")),
    "median excess with handling": _median_of_feasible(_with_handling),
    "price of moving inwards": _median_of_feasible(_moved),
    "moved inwards truly feasible": _share("robust_feasible"),
    "misses": misses,
    "sum of stated risk": stated_risk,
    "false assurance": false_assurance,
    "points below target when missed": shortfall_of_misses,
    "impossible found": _share("says_impossible", "possible", negate=True),
    "possible called impossible": _share("says_impossible", "possible"),
    **{
        f"{kind} {level:.0%} coverage, {where}": coverage(kind, level, where)
        for where in ("claim", "probe") for kind in ("time", "recovery") for level in LEVELS
    },
    "vessels": _share("vessels"),
    "injections": _share("injections"),
    "seconds per proposal": _share("seconds_per_proposal"),
    "seconds to recommend": _share("seconds_to_recommend"),
}


def bench_weights(benches: Array, draws: int, seed: int) -> Array:
    """[1 + draws, N] weights of the plays: all ones, then bootstrap draws of whole benches."""
    rng = np.random.default_rng(seed)
    unique, index = np.unique(benches, return_inverse=True)
    count = len(unique)
    drawn = rng.multinomial(count, np.full(count, 1.0 / count), size=draws)
    return np.vstack([np.ones(len(benches)), drawn[:, index].astype(float)])


def interval(values: Array) -> tuple[float, float]:
    """Central 95 % of the draws that gave a number."""
    known = values[~np.isnan(values)]
    if len(known) == 0:
        return float("nan"), float("nan")
    low, high = np.quantile(known, [0.025, 0.975], method="inverted_cdf")
    return float(low), float(high)


def summarise(scores: pd.DataFrame, draws: int = DRAWS, seed: int = 0) -> pd.DataFrame:
    """One row per family, strategy, budget and figure: value, low, high, number of plays."""
    rows: list[dict[str, Any]] = []
    for keys, frame in scores.groupby(["family", "strategy", "budget"], sort=False):
        weights = bench_weights(frame["bench"].to_numpy(), draws, seed)
        for name, make in FIGURES.items():
            values = make(frame).values(weights)
            low, high = interval(values[1:])
            rows.append(dict(zip(("family", "strategy", "budget"), keys, strict=True)) | {
                "figure": name, "value": float(values[0]), "low": low, "high": high,
                "plays": len(frame), "benches": int(frame["bench"].nunique()),
                "claims": int(_column(frame, "claimed").sum()),
            })
    return pd.DataFrame(rows)


def trials_to_target(frame: pd.DataFrame, benches: Array, weights: Array) -> Array:
    """[B] smallest budget of one strategy with median excess and feasible share on target.

    ``weights`` [B, M] belong to ``benches`` [M]; a draw that never gets there counts 30.
    """
    needed = np.full(len(weights), float(NEVER))
    for budget in sorted(frame["budget"].unique(), reverse=True):
        rows = frame[frame["budget"] == budget]
        column = np.searchsorted(benches, rows["bench"].to_numpy())
        each = weights[:, column]
        median = excess(0.5, claims_only=False, oracle_only=False)(rows).values(each)
        share = FIGURES["truly feasible"](rows).values(each)
        met = (median <= TARGET_EXCESS) & (share >= TARGET_FEASIBLE)
        needed = np.where(met, float(budget), needed)
    return needed


def compare_trials(
    scores: pd.DataFrame, ours: str, draws: int = DRAWS, seed: int = 0
) -> pd.DataFrame:
    """Trials to target of every strategy and the ratio of ours to the best peer's.

    Paired: each bootstrap draw takes the same benches for all strategies; the best peer is
    chosen anew in every draw, so the interval owns that choice.
    """
    benches = np.unique(scores["bench"].to_numpy())
    weights = bench_weights(benches, draws, seed)
    names = list(dict.fromkeys(scores["strategy"]))
    needed = {n: trials_to_target(scores[scores["strategy"] == n], benches, weights)
              for n in names}
    lines = dict(needed)
    peers = [needed[n] for n in names if n != ours]
    if ours in needed and peers:
        lines[f"{ours} / best peer"] = needed[ours] / np.min(peers, axis=0)
    rows = []
    for name, values in lines.items():
        low, high = interval(values[1:])
        rows.append({"strategy": name, "trials": float(values[0]), "low": low, "high": high})
    return pd.DataFrame(rows)
