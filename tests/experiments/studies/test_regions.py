"""The study of regions counts what is truly good inside what is stated, on a toy bench."""

from __future__ import annotations

import numpy as np

from experiments.job_file import parse
from experiments.studies.regions import compare_regions, summary


class Sure:
    """A fitted job that is sure of ``chance(truth)`` of the toy bench at each setting."""

    def __init__(self, bench, chance):
        self.job = parse(bench.job)
        self.bench, self.chance = bench, chance

    def draw(self, settings):
        rows = np.array([self.bench.row(s) for s in settings])
        return self.chance(self.bench.feasible(self.bench.evaluate(rows)))

    def success(self, point):
        return np.array([point])

    sampled_success = success


def test_who_knows_the_truth_states_the_true_region(bowl):
    found = compare_regions(bowl, Sure(bowl, lambda good: good.astype(float)))
    assert found["share"] == found["true_share"] > 0.1
    assert found["inside"] == found["inside_good"] > 100
    assert (found["together"], found["all_good"]) == (1.0, True)


def test_who_promises_everything_is_found_out(bowl):
    found = compare_regions(bowl, Sure(bowl, lambda good: np.full(len(good), 0.955)))
    assert found["share"] == 1.0
    assert found["edge"] == found["inside"]
    assert 0.1 < found["inside_good"] / found["inside"] < 0.9
    assert not found["all_good"]


def test_who_promises_nothing_has_no_region(bowl):
    found = compare_regions(bowl, Sure(bowl, lambda good: 0.9 * good))
    assert found["share"] == 0.0
    assert "inside" not in found


def test_the_figures_in_words():
    rows = [
        {"share": 0.05, "true_share": 0.10, "inside": 100, "inside_good": 100, "edge": 10,
         "edge_good": 10, "expected": 0.97, "together": 0.9, "all_good": True},
        {"share": 0.20, "true_share": 0.20, "inside": 100, "inside_good": 90, "edge": 10,
         "edge_good": 5, "expected": 0.96, "together": 0.8, "all_good": False},
        {"share": 0.0, "true_share": 0.10},
        {"share": 0.0, "true_share": 0.0},
    ]
    words = summary(rows)
    assert words[0] == "4 benches, 12 trials: 3 have a true region, 2 a stated one."
    assert words[1].startswith("Settings drawn from inside are truly good in 95.0%")
    assert words[2].startswith("Settings just inside the edge are truly good in 75.0%")
    assert "stated 85%, true in 1 of 2" in words[3]
    assert "with a true region: median 50% (quartiles 25% to 75%)" in words[4]
    assert "with a stated one: median 75%" in words[5]
    assert summary(rows[2:]) == [
        "2 benches, 12 trials: 1 have a true region, 0 a stated one."]
