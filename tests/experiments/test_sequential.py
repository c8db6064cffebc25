"""Choosing trials: where the first go, what repeats, what pending trials do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import Dossier
from experiments.factor_space import FactorSpace, setting_key
from experiments.fitted import fit
from experiments.job_text import to_mapping
from experiments.predicted_run import predicted_run
from experiments.recommendation import recommend
from experiments.sequential import FIRST_APART, propose


@pytest.fixture(scope="module")
def job():
    return Dossier.start("examples/new_analyte_with_keeper.toml").job


@pytest.fixture(scope="module")
def fresh(job):
    return fit(job, [])


def test_the_first_batch_spreads_out(job, fresh):
    """Trials of the first batch are apart, and the first is called safe."""
    trials = propose(fresh, 3).trials
    assert len(trials) == 3
    assert "safe" in trials[0].reason
    coded = FactorSpace(job).code([t.setting for t in trials])
    gaps = [np.linalg.norm(coded[i] - coded[j]) for i in range(3) for j in range(i)]
    assert min(gaps) >= FIRST_APART - 1e-9


def test_the_safe_start_is_as_likely_to_succeed_as_any(fresh):
    first = propose(fresh, 1).trials[0]
    chances = fresh.probability(fresh.candidates)
    assert fresh.probability([first.setting])[0] >= chances.max() - 0.05


def test_pending_trials_are_not_proposed_again(fresh):
    first = propose(fresh, 2).trials
    pending = [replace(t, id=f"T{i}") for i, t in enumerate(first, start=1)]
    following = propose(fresh, 2, pending).trials
    assert not {setting_key(t.setting) for t in following} & {
        setting_key(t.setting) for t in first}


def test_the_budget_counts_pending_trials(job, fresh):
    pending = [replace(t, id=f"T{i}") for i, t in enumerate(propose(fresh, 3).trials * 4)]
    made = propose(fresh, 3, pending[: job.limits.trials])
    assert not made.trials
    assert "spent" in made.stop_reason


def test_nothing_is_recommended_before_a_trial(fresh):
    answer = recommend(fresh)
    assert answer.status in ("more trials needed", "nothing qualifies")
    assert answer.setting is None
    assert answer.compromise.setting


def test_an_answer_is_the_callers_own(fresh):
    """A caller that writes into an answer does not change the next one."""
    first = recommend(fresh)
    first.compromise.setting["set_temperature_c"] = -1.0
    assert recommend(fresh).compromise.setting["set_temperature_c"] > 0.0


def test_nothing_is_proposed_where_nothing_can_meet_the_targets(job):
    """An analyte more volatile than the solvent, two batches of runs that lost it."""
    data = to_mapping(job)
    data["sample"]["keeper"] = None
    data["sample"] = {k: v for k, v in data["sample"].items() if v is not None}
    data["sample"]["solvents"] = [{"name": "toluene", "volume_fraction": 1.0}]
    data["analytes"] = [{"name": "benzene", "target_recovery_percent": 95}]
    dossier = Dossier.start(data)
    for trial in propose(dossier.fitted(), 6).trials:
        run = predicted_run(dossier.job, trial.setting)
        dossier.record(
            None, setting=trial.setting, run_time_min=run["run_time_min"],
            outcome="finished" if run["finished"] else "not dry",
            recovery_percent={"benzene": run["recovery_percent"]["benzene"]})
    found = propose(dossier.fitted(), 3)
    assert found.trials == ()
    assert "no setting of the window has a chance" in found.stop_reason
    assert dossier.recommend().status == "nothing qualifies"
