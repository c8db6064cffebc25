"""Figures of merit on scores made by hand."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from experiments.studies.figures import (
    FIGURES,
    Quantile,
    Ratio,
    bench_weights,
    compare_trials,
    interval,
    summarise,
)
from experiments.studies.markdown import figure_text, write_tables


def _score(**changes: object) -> dict[str, object]:
    base: dict[str, object] = {
        "family": "physical", "bench": 1, "kind": "easy", "region": 0.1, "oracle": True,
        "strategy": "boilwright", "replicate": 0, "budget": 9, "trials": 9, "vessels": 36,
        "injections": 36, "seconds_per_proposal": 1.0, "seconds_to_recommend": 0.5,
        "claimed": True, "says_impossible": False, "possible": True, "probability": 0.95,
        "best_time": 20.0, "run_time": 22.0, "feasible": True, "excess": 0.1, "excess_min": 2.0,
        "shortfall": 0.0, "robust_excess": 0.2, "robust_feasible": True,
        "compromise_feasible": True, "outcome": "finished",
    }
    for where in ("claim", "probe"):
        for kind in ("time", "recovery"):
            base |= {f"{where}_{kind}_n": 10, f"{where}_{kind}_80%": 8,
                     f"{where}_{kind}_95%": 9}
    return base | changes


def _value(name: str, rows: list[dict[str, object]]) -> float:
    return float(FIGURES[name](pd.DataFrame(rows)).values(np.ones((1, len(rows))))[0])


NO_CLAIM = {"claimed": False, "feasible": None, "excess": None, "run_time": None,
            "shortfall": None, "probability": 0.4}
MISS = {"feasible": False, "shortfall": 3.0, "probability": 0.96}
IMPOSSIBLE = {"possible": False, "oracle": False, "best_time": None, "excess": None}


def test_shares_count_what_they_say() -> None:
    rows = [_score(), _score(excess=0.3), _score(**NO_CLAIM), _score(**MISS)]
    assert _value("recommended", rows) == pytest.approx(3 / 4)
    assert _value("truly feasible", rows) == pytest.approx(2 / 3)
    assert _value("success within 10 %", rows) == pytest.approx(1 / 4)
    assert _value("misses", rows) == 1
    assert _value("sum of stated risk", rows) == pytest.approx(0.05 + 0.05 + 0.04)
    assert _value("false assurance", rows) == pytest.approx((1 - 0.14) / 3)
    assert _value("points below target when missed", rows) == 3.0


def test_no_claim_and_misses_count_as_infinite_excess() -> None:
    rows = [_score(excess=e) for e in (0.0, 0.1, 0.2)] + [_score(**NO_CLAIM), _score(**MISS)]
    assert _value("median excess", rows) == pytest.approx(0.2)
    assert math.isinf(_value("90th percentile excess", rows))
    assert _value("median excess of feasible claims", rows) == pytest.approx(0.1)
    outside = [*rows, *(_score(oracle=False, **NO_CLAIM) for _ in range(9))]
    assert _value("median excess", outside) == pytest.approx(0.2)


def test_impossible_jobs_have_their_own_figures() -> None:
    rows = [_score(), _score(says_impossible=True, **NO_CLAIM),
            _score(**{**NO_CLAIM, **IMPOSSIBLE, "says_impossible": True}),
            _score(**{**MISS, **IMPOSSIBLE})]
    assert _value("impossible found", rows) == pytest.approx(0.5)
    assert _value("possible called impossible", rows) == pytest.approx(0.5)
    assert _value("recommended", rows) == pytest.approx(0.5)
    assert _value("misses", rows) == 1  # a claim on an impossible job is false assurance


def test_times_moved_inwards_and_with_handling() -> None:
    rows = [_score()]
    assert _value("price of moving inwards", rows) == pytest.approx(1.2 / 1.1 - 1.0)
    assert _value("median excess with handling", rows) == pytest.approx(42 / 40 - 1)
    assert _value("median excess, min", rows) == 2.0


def test_coverage_pools_intervals() -> None:
    rows = [_score(), _score(**{"probe_time_n": 30, "probe_time_80%": 12})]
    assert _value("time 80% coverage, probe", rows) == pytest.approx(20 / 40)
    rows = [_score(**{f"probe_time_{k}": 0 for k in ("n", "80%", "95%")})]
    assert math.isnan(_value("time 80% coverage, probe", rows))


def test_scores_read_back_from_a_file_give_the_same_figures(tmp_path) -> None:  # noqa: ANN001
    rows = [_score(bench=b) for b in range(3)] + [
        _score(bench=3, **NO_CLAIM), _score(bench=4, **MISS)]
    frame = pd.DataFrame(rows)
    frame.to_csv(tmp_path / "scores.csv", index=False)
    read = pd.read_csv(tmp_path / "scores.csv")
    one, other = (summarise(f, draws=50)["value"].to_numpy() for f in (frame, read))
    np.testing.assert_allclose(one, other)


def test_weighted_quantile_is_the_quantile_of_repeated_values() -> None:
    rng = np.random.default_rng(0)
    numbers, counts = rng.normal(size=30), (rng.uniform(size=30) < 0.8).astype(float)
    weights = rng.integers(0, 4, size=(5, 30)).astype(float)
    values = Quantile(numbers, counts, 0.9).values(weights)
    for w, value in zip(weights, values, strict=True):
        repeated = np.repeat(numbers, (w * counts).astype(int))
        assert value == np.quantile(repeated, 0.9, method="inverted_cdf")


def test_the_bootstrap_draws_whole_benches() -> None:
    benches = np.repeat(np.arange(20), 5)
    weights = bench_weights(benches, 200, seed=1)
    assert (weights[0] == 1).all()
    per_bench = weights.reshape(201, 20, 5)
    assert (per_bench == per_bench[:, :, :1]).all()
    assert (weights.sum(axis=1) == 100).all()
    # all five plays of a bench agree: the interval is that of 20 coins, not of 100
    hits = np.repeat(np.arange(20) % 2, 5).astype(float)
    low, high = interval(Ratio(hits, np.ones(100)).values(weights)[1:])
    assert high - low > 0.3


def test_trials_to_target_are_paired_and_the_best_peer_is_chosen_anew() -> None:
    rows = []
    for bench in range(12):
        for budget in (6, 9, 30):
            quick = 0.05 if budget >= 9 else 0.5
            slow = 0.05 if budget >= 30 else 0.5
            rows += [_score(bench=bench, budget=budget, excess=quick),
                     _score(bench=bench, budget=budget, excess=slow, strategy="peer"),
                     _score(bench=bench, budget=budget, strategy="never", excess=0.9)]
    table = compare_trials(pd.DataFrame(rows), "boilwright", draws=50).set_index("strategy")
    assert table.loc["boilwright", "trials"] == 9
    assert table.loc["peer", "trials"] == 30
    assert table.loc["never", "trials"] == 30
    assert table.loc["boilwright / best peer", "trials"] == pytest.approx(0.3)
    assert table.loc["boilwright / best peer", "high"] == pytest.approx(0.3)


def test_tables_name_every_strategy_and_read_well() -> None:
    rows = [_score(bench=b, budget=n, strategy=s)
            for b in range(4) for n in (6, 9) for s in ("boilwright", "peer")]
    frame = pd.DataFrame(rows)
    trials = compare_trials(frame, "boilwright", draws=20).assign(family="physical")
    about = {"versions": {"python": "3"}, "arguments": {}, "benches": {"physical": [0, 3]}}
    text = write_tables(summarise(frame, draws=20), trials, about)
    assert "after 9 trials" in text
    assert "| peer |" in text
    assert "| 10 % (10 to 10) |" in text
    assert "nan" not in text
    assert "inf" not in text.replace("infinite", "")


def test_figures_print_their_unit() -> None:
    assert figure_text("median excess", 0.061, 0.02, math.inf) == "6 % (2 to no claim)"
    assert figure_text("median excess, min", 1.23, 0.5, 2.0) == "1.2 (0.5 to 2.0)"
    assert figure_text("time 80% coverage, probe", 0.78, 0.7, 0.9) == "78 % (70 to 90)"
    assert figure_text("misses", math.nan, 0, 0) == "-"
