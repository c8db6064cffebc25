"""Benches are deterministic, keep to the stated noise and speak the contract."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.job_file import parse
from experiments.studies.bench import BATCH, STATUS, Bench, Noise, Truth
from experiments.studies.benches import (
    REPORTED,
    SETTLED,
    make_bench,
    physical_bench,
    physics_free_bench,
)
from experiments.studies.optimum import window_sample


def test_settled_and_reported_benches_never_meet() -> None:
    for family in SETTLED:
        assert not set(SETTLED[family]) & set(REPORTED[family])
    assert len(REPORTED["physical"]) >= 60
    assert len(REPORTED["physics-free"]) >= 30


@pytest.mark.parametrize("family", ["physical", "physics-free"])
def test_same_seed_same_bench(family: str) -> None:
    one, other = make_bench(family, 6), make_bench(family, 6)
    assert one.job == other.job
    rows = window_sample(one, 16)
    a, b = one.evaluate(rows), other.evaluate(rows)
    np.testing.assert_array_equal(a.run_time, b.run_time)
    np.testing.assert_array_equal(a.recovery, b.recovery)
    assert make_bench(family, 7).job != one.job


def test_the_job_of_every_bench_is_read_without_a_fault(physical: Bench) -> None:
    jobs = [physical.job, *(physics_free_bench(s).job for s in range(10))]
    for job in jobs:
        read = parse(job)
        assert read.limits.assurance == 0.95
        assert [a.name for a in read.analytes] == [a["name"] for a in job["analytes"]]


def test_truth_agrees_with_what_scores_use(physical: Bench) -> None:
    row = window_sample(physical, 4)[0]
    setting = physical.setting(row)
    time, recoveries, outcome = physical.truth(setting)
    truth = physical.evaluate(row[None, :])
    assert outcome == STATUS[int(truth.status[0])]
    np.testing.assert_allclose(time, truth.run_time[0])
    np.testing.assert_allclose(list(recoveries.values()), truth.mean[0])
    meets = outcome == "finished" and bool((truth.mean[0] >= physical.targets).all())
    assert physical.is_feasible(setting) == meets


def test_a_run_reports_every_vessel_or_nothing(physical: Bench) -> None:
    rng = np.random.default_rng(5)
    outcomes = set()
    for row in window_sample(physical, 32):
        result = physical.run(physical.setting(row), rng, day=0)
        outcomes.add(result["outcome"])
        if result["outcome"] == "not dry":
            assert result["run_time_min"] is None
            assert result["recovery_percent"] == {}
            continue
        assert result["run_time_min"] > 0
        assert set(result["recovery_percent"]) == set(physical.analytes)
        for readings in result["recovery_percent"].values():
            assert len(readings) == physical.vessels
            assert all(r is None or r == "<5" or float(r) >= 5 for r in readings)
    assert "finished" in outcomes


def test_same_generator_same_noise_whatever_the_settings(surface: Bench) -> None:
    rows = window_sample(surface, 4)
    one, other = np.random.default_rng(3), np.random.default_rng(3)
    surface.run(surface.setting(rows[0]), one, day=0)
    surface.run(surface.setting(rows[1]), other, day=0)
    setting = surface.setting(rows[2])
    assert surface.run(setting, one, day=1) == surface.run(setting, other, day=1)


def _flat(bench: Bench, percent: float) -> Bench:
    """The same laboratory with one true answer everywhere."""
    from dataclasses import replace

    def evaluate(rows: np.ndarray) -> Truth:
        shape = (len(rows), bench.vessels, len(bench.analytes))
        return Truth(np.full(len(rows), 40.0), np.full(shape, percent),
                     np.zeros(len(rows), np.int64), np.zeros(len(rows)))

    return replace(bench, evaluate=evaluate,
                   noise=Noise(0.03, 0.06, 0.18, 0.04, 0.07))


@pytest.mark.parametrize(("percent", "relative"), [(92.0, 0.06), (55.0, 0.18)])
def test_noise_has_the_stated_size_and_no_bias(
    surface: Bench, percent: float, relative: float
) -> None:
    bench = _flat(surface, percent)
    setting = bench.setting(window_sample(bench, 1)[0])
    rng = np.random.default_rng(1)
    name = bench.analytes[0]
    runs = [bench.run(setting, rng, day=d) for d in range(1500)]
    readings = [[r for r in run["recovery_percent"][name] if isinstance(r, float)]
                for run in runs]
    means = np.array([np.mean(r) for r in readings])
    # run effect and the mean of the vessel scatter; 1500 runs give the sd to 2 %
    expected = np.hypot(relative, 0.03 / np.sqrt(bench.vessels))
    assert means.std() / means.mean() == pytest.approx(expected, rel=0.08)
    assert means.mean() == pytest.approx(percent, rel=4 * expected / np.sqrt(1500))
    within = np.mean([np.std(r, ddof=1) / np.mean(r) for r in readings])
    assert within == pytest.approx(0.03, rel=0.1)
    ln_time = np.log([run["run_time_min"] for run in runs])
    assert ln_time.std() == pytest.approx(np.hypot(0.04, 0.07), rel=0.08)


def test_runs_of_one_day_share_the_day(surface: Bench) -> None:
    bench = _flat(surface, 92.0)
    setting = bench.setting(window_sample(bench, 1)[0])
    rng = np.random.default_rng(2)
    pairs = np.log([[bench.run(setting, rng, day=d)["run_time_min"] for _ in range(2)]
                    for d in range(800)])
    correlation = np.corrcoef(pairs.T)[0, 1]
    assert correlation == pytest.approx(0.07**2 / (0.07**2 + 0.04**2), abs=0.08)


def test_the_mean_of_days_of_three_runs_scatters_as_stated(surface: Bench) -> None:
    bench = _flat(surface, 92.0)
    setting = bench.setting(window_sample(bench, 1)[0])
    rng = np.random.default_rng(4)
    name = bench.analytes[0]
    means = np.array([
        np.mean([np.mean([r for r in bench.run(setting, rng, day=3 * play + day)
                          ["recovery_percent"][name] if isinstance(r, float)])
                 for day in range(3) for _ in range(BATCH)])
        for play in range(500)
    ])
    expected = float(bench.noise.of_mean(np.array(92.0), 9, bench.vessels))
    alone = float(bench.noise.of_mean(np.array(92.0), 1, bench.vessels))
    assert expected > 1.1 * alone / 3.0  # three of a day tell less than three of three days
    # 500 plays give the standard deviation to 3 %
    assert means.std() / means.mean() == pytest.approx(expected, rel=0.1)


@pytest.mark.parametrize("kind", ["trivial", "medium", "hard", "impossible"])
def test_feasible_regions_have_the_size_asked_for(kind: str) -> None:
    bench = physics_free_bench(3, kind)
    truth = bench.evaluate(window_sample(bench, 4096, seed=11))
    share = float(bench.feasible(truth).mean())
    low, high = {"trivial": (0.2, 1.0), "medium": (0.02, 0.12), "hard": (0.003, 0.04),
                 "impossible": (0.0, 0.0)}[kind]
    assert low <= share <= high
    assert (bench.best() is None) == (kind == "impossible")


@pytest.mark.slow
def test_an_impossible_physical_job_is_impossible_by_a_margin() -> None:
    bench = physical_bench(11, "impossible")
    assert bench.best() is None
    truth = bench.evaluate(window_sample(bench, 512, seed=4))
    missing = (bench.targets - truth.mean)[truth.status == 0].max(axis=1)
    assert missing.min() > 2.0
