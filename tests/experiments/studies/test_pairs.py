"""Pairs of jobs share what they say they share, and nothing else."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest

from experiments.studies import carried
from experiments.studies.bench import Bench
from experiments.studies.pairs import OF_THE_EVAPORATOR, OF_THE_SAMPLE, Pair, bench_pair
from experiments.studies.physical import PhysicalTruth

SEED = 2310


@cache
def pair_of(analytes: str) -> Pair:
    return bench_pair(SEED, analytes)


def truth_of(bench: Bench) -> PhysicalTruth:
    assert isinstance(bench.evaluate, PhysicalTruth)
    return bench.evaluate


@pytest.mark.parametrize("analytes", ["other", "same"])
def test_the_second_job_is_another_solvent_on_the_same_evaporator(analytes: str) -> None:
    pair = pair_of(analytes)
    first, second, swapped = map(truth_of, (pair.first, pair.second, pair.swapped))
    assert not set(first.scene.solvents) & set(second.scene.solvents)
    for name in OF_THE_EVAPORATOR:
        assert getattr(first.scene, name) == getattr(second.scene, name)
    for name in set(first.rig._fields) - set(OF_THE_SAMPLE):
        np.testing.assert_array_equal(getattr(first.rig, name), getattr(second.rig, name))
    assert pair.swapped.job == pair.second.job
    assert abs(np.log(swapped.rig.heat_transfer / second.rig.heat_transfer)) > 0.49


def test_other_analytes_are_others() -> None:
    pair = pair_of("other")
    assert not set(pair.first.analytes) & set(pair.second.analytes)


def test_the_same_analytes_are_the_same_in_truth_and_on_their_data_sheets() -> None:
    pair = pair_of("same")
    first, second = truth_of(pair.first), truth_of(pair.second)
    place = [pair.first.analytes.index(name) for name in pair.second.analytes]
    for name in ("ln_p25", "slope", "residue_gamma", "thermal", "molar", "spike"):
        np.testing.assert_array_equal(
            getattr(first.liquid, name)[place], getattr(second.liquid, name))
    np.testing.assert_array_equal(first.analytes.ceiling[place], second.analytes.ceiling)

    def sheets(bench: Bench) -> dict[str, str]:
        return {a["name"]: json.dumps({k: v for k, v in a.items() if "target" not in k})
                for a in bench.job["analytes"]}

    assert sheets(pair.second).items() <= sheets(pair.first).items()


def test_the_summary_counts_a_failing_setting_as_endless() -> None:
    def score(excess: float | None) -> dict[str, object]:
        return {"claimed": excess is not None, "feasible": excess is not None, "excess": excess}

    def row(warm: float | None, cold: float | None) -> dict[str, object]:
        told = {"holds": 0.8, "p_value": 0.5}
        return {"cold": {"6": score(0.5), "9": score(cold)},
                "warm": {"3": score(0.5), "6": score(warm)}, "same": told,
                "swapped": told | {"p_value": 0.01}}

    said = carried.summary([row(0.1, 0.3), row(None, 0.3), row(0.3, 0.31)])
    assert said[3].startswith("warm, 6 trials, 3 pairs: best setting feasible 2, claimed 2; "
                              "excess 30%")
    assert "better in 1, as good within 5 % in 1, worse in 1 pairs" in said[4]
    assert "in 0 of 3 pairs" in said[5]
    assert "in 3 of 3 pairs" in said[6]
