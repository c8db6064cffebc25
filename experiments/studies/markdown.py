"""The study's tables in Markdown, for the documentation."""

from __future__ import annotations

import math

import pandas as pd

from experiments.studies.bench import Mapping
from experiments.studies.strategies import OURS

SHARES = ("recommended", "feasible", "success", "excess", "price", "false", "coverage",
          "impossible")
COLUMNS = (
    "recommended", "truly feasible", "success within 10 %", "median excess",
    "90th percentile excess", "median excess, min", "misses", "sum of stated risk",
    "injections", "seconds per proposal",
)
OURS_ONLY = (
    "median excess of feasible claims", "90th percentile excess of feasible claims",
    "median excess with handling", "price of moving inwards", "moved inwards truly feasible",
    "false assurance", "points below target when missed", "impossible found",
    "possible called impossible",
    *(f"{kind} {level} coverage, {where}" for where in ("claim", "probe")
      for kind in ("time", "recovery") for level in ("80%", "95%")),
    "seconds to recommend",
)


def figure_text(name: str, value: float, low: float, high: float) -> str:
    """A figure with its interval, in percent where it is a share."""
    percent = any(word in name for word in SHARES) and not name.endswith("min")

    def one(x: float) -> str:
        if math.isnan(x):
            return "-"
        if math.isinf(x):
            return "no claim"
        return f"{100 * x:.0f}" if percent else (f"{x:.1f}" if abs(x) < 100 else f"{x:.0f}")

    if math.isnan(value):
        return "-"
    unit = " %" if percent and not math.isinf(value) else ""
    return f"{one(value)}{unit} ({one(low)} to {one(high)})"


def write_tables(figures: pd.DataFrame, trials: pd.DataFrame, about: Mapping) -> str:
    """Markdown with one table per family and budget, our own figures, trials to target."""
    lines = ["# Strategy comparison on simulated benches", ""]
    lines += [f"Versions: {', '.join(f'{k} {v}' for k, v in about['versions'].items())}.", ""]
    lines += [f"Arguments: `{about['arguments']}`.", ""]
    lines += ["95 % intervals by cluster bootstrap over benches in brackets.", ""]
    for family, part in figures.groupby("family", sort=False):
        seeds = about["benches"][family]
        lines += [f"## {family}: {len(seeds)} benches, seeds {seeds[0]} to {seeds[-1]}", ""]
        for budget, rows in part.groupby("budget"):
            lines += [f"### after {budget} trials", "", *_wide(rows), ""]
        lines += ["### trials to a median excess of 15 % with 90 % truly feasible", "",
                  *_trials(trials[trials["family"] == family]), ""]
        lines += ["### further figures of Boilwright", "", *_ours(part), ""]
    return "\n".join(lines) + "\n"


def _table(header: list[str], rows: list[list[str]]) -> list[str]:
    rule = ["---"] * len(header)
    return ["| " + " | ".join(cells) + " |" for cells in (header, rule, *rows)]


def _cells(rows: pd.DataFrame, names: tuple[str, ...]) -> list[str]:
    known = {str(name): (value, low, high) for name, value, low, high in zip(
        rows["figure"], rows["value"], rows["low"], rows["high"], strict=True)}
    return [figure_text(name, *map(float, known[name])) for name in names]


def _wide(rows: pd.DataFrame) -> list[str]:
    body = [[str(name), *_cells(part, COLUMNS)]
            for name, part in rows.groupby("strategy", sort=False)]
    return _table(["strategy", *COLUMNS], body)


def _trials(trials: pd.DataFrame) -> list[str]:
    body = [[str(r.strategy), f"{r.trials:.2f}".rstrip("0").rstrip("."),
             f"{r.low:.2f} to {r.high:.2f}"] for r in trials.itertuples()]
    return _table(["strategy", "trials", "95 % interval"], body)


def _ours(part: pd.DataFrame) -> list[str]:
    rows = part[part["strategy"] == OURS]
    if rows.empty:
        return ["Boilwright was not among the strategies."]
    budgets = sorted(rows["budget"].unique())
    columns = [_cells(rows[rows["budget"] == b], OURS_ONLY) for b in budgets]
    body = [[name, *(c[k] for c in columns)] for k, name in enumerate(OURS_ONLY)]
    return _table(["figure", *(f"{b} trials" for b in budgets)], body)
