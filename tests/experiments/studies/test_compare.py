"""The study runs in parallel, goes on where it stopped, and writes its tables."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from experiments import studies
from experiments.entries import EntryError
from experiments.studies import compare, quick_look
from experiments.studies.compare import Play, plan, run_study, write_summary
from experiments.studies.physical import drawn_kind

NAMES = ("one factor at a time", "Box-Behnken")


def test_the_plan_crosses_benches_strategies_and_replicates() -> None:
    groups = plan({"physical": (1, 2), "physics-free": (3,)}, ["boilwright", *NAMES], 2)
    assert len(groups) == 3
    assert all(len(g) == 6 for g in groups)
    ours = next(p for p in groups[0] if p.strategy == "boilwright")
    assert max(ours.budgets) == 15


def test_a_stopped_study_goes_on_where_it_stopped(tmp_path: Path) -> None:
    scores = tmp_path / "scores.csv"
    seen: list[tuple[float, str]] = []
    groups = plan({"physics-free": (1,)}, NAMES[:1], 1)
    run_study(groups, scores, progress=lambda share, text: seen.append((share, text)))
    assert seen == [(1.0, "1 of 1 benches")]
    before = scores.read_text()
    frame = run_study(plan({"physics-free": (1,)}, NAMES, 1), scores)
    assert scores.read_text().startswith(before)
    assert set(frame["strategy"]) == set(NAMES)
    assert not frame.duplicated(["bench", "strategy", "replicate", "budget"]).any()


def test_processes_give_what_one_process_gives(tmp_path: Path) -> None:
    groups = plan({"physics-free": (1, 2)}, NAMES[:1], 1)
    one = run_study(groups, tmp_path / "one.csv", jobs=1)
    two = run_study(groups, tmp_path / "two.csv", jobs=2)
    keys = ["bench", "budget"]
    timed = ["seconds_per_proposal", "seconds_to_recommend"]
    one, two = (f.drop(columns=timed).sort_values(keys).reset_index(drop=True)
                for f in (one, two))
    pd.testing.assert_frame_equal(one, two)


def test_the_summary_holds_versions_seeds_and_intervals(tmp_path: Path) -> None:
    scores = run_study(plan({"physics-free": (1, 2)}, NAMES, 1), tmp_path / "scores.csv")
    write_summary(scores, tmp_path, {"replicates": 1})
    about = json.loads((tmp_path / "study.json").read_text())
    assert about["benches"] == {"physics-free": [1, 2]}
    assert about["versions"]["optuna"]
    summary = pd.read_csv(tmp_path / "summary.csv")
    assert {"value", "low", "high", "plays", "claims"} <= set(summary.columns)
    assert "Box-Behnken" in (tmp_path / "summary.md").read_text()


def test_dask_without_its_package_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    groups = plan({"physics-free": (1,)}, NAMES[:1], 1)
    with pytest.raises(EntryError, match=r"--dask needs the package distributed"):
        run_study(groups, tmp_path / "scores.csv", dask="tcp://nowhere:8786")


def test_quick_benches_are_possible_and_apart_from_the_study() -> None:
    seeds = quick_look.quick_seeds(10)
    assert len(set(seeds)) == 10
    assert min(seeds) >= 2000
    assert all(drawn_kind(s) != "impossible" for s in seeds)


def test_the_quick_look_counts_what_was_truly_good(monkeypatch: pytest.MonkeyPatch) -> None:
    def scores(groups: list[list[Play]], *args: object, **kwargs: object) -> pd.DataFrame:
        base = {"kind": "easy", "region": 0.1, "seconds_per_proposal": 1.0, "best_time": 20.0,
                "outcome": "finished", "shortfall": 0.0}
        good = {"claimed": True, "feasible": True, "run_time": 22.0, "excess": 0.1,
                "probability": 0.96}
        return pd.DataFrame([
            {"bench": groups[0][0].seed, **base, **good},
            {"bench": groups[1][0].seed, **base, **good, "run_time": 30.0, "excess": 0.5},
            {"bench": groups[2][0].seed, **base, **good, "feasible": False, "shortfall": 2.0},
            {"bench": groups[3][0].seed, **base, "claimed": False, "feasible": None,
             "run_time": None, "excess": None, "probability": 0.5},
        ])

    monkeypatch.setattr(quick_look, "run_study", scores)
    result = studies.quick(4)
    assert (result["succeeded"], result["benches"]) == (1, 4)
    assert "on 1 of 4 random jobs" in result["text"]
    assert "no, 2.0 points below" in result["text"]
    assert "no recommendation" in result["text"]
    json.dumps(result, allow_nan=False)


def test_the_quick_look_needs_a_bench() -> None:
    with pytest.raises(ValueError, match="at least one"):
        studies.quick(0)


def test_the_full_study_refuses_what_is_not_installed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from experiments.studies import strategies

    monkeypatch.setattr(strategies, "find_spec", lambda package: None)
    with pytest.raises(SystemExit):
        compare.main(["--strategies", "BoTorch", "--benches", "1"])
    assert "needs torch and botorch; install the extra" in capsys.readouterr().err


def test_the_full_study_runs_as_a_command_in_two_processes(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "experiments.studies.compare", "--set", "settled",
               "--family", "physics-free", "--benches", "2", "--replicates", "1",
               "--strategies", NAMES[0], "--jobs", "2", "--out", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert pd.read_csv(tmp_path / "scores.csv")["bench"].nunique() == 2
