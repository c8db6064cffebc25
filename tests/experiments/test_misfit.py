"""A run model that the runs contradict is found out, and promises nothing far from them."""

from __future__ import annotations

from typing import Any

import numpy as np

from experiments.dossier import Dossier
from experiments.misfit import misfit
from models.parameters import NAMES


def played(job: dict[str, Any], upside_down: bool) -> Dossier:
    """Six runs as the run model has them, or the slower and lossier the gentler they are."""
    dossier = Dossier.start(job)
    rng = np.random.default_rng(4)
    trials = dossier.propose(6)
    for trial, expected in zip(trials, dossier.forecast([t.setting for t in trials]), strict=True):
        time = expected.run_time_min.mean
        recovery = {name: r.mean for name, r in expected.recovery_percent.items()}
        if upside_down:
            time = 1200.0 / time
            recovery = {name: 110.0 - r for name, r in recovery.items()}
        dossier.record(
            trial.id, run_time_min=float(time * np.exp(0.05 * rng.standard_normal())),
            recovery_percent={
                name: list(r * np.exp(rng.normal(0.0, 0.05) + rng.normal(0.0, 0.02, 4)))
                for name, r in recovery.items()})
    return dossier


def test_runs_as_forecast_are_explained(job_mapping: dict[str, Any]) -> None:
    dossier = played(job_mapping, upside_down=False)
    assert misfit(dossier.fitted()) == ()
    assert dossier.recommend().findings == ()


def test_runs_against_physics_are_said_and_nothing_is_promised(
    job_mapping: dict[str, Any]
) -> None:
    dossier = played(job_mapping, upside_down=True)
    found = misfit(dossier.fitted())
    assert [f.code for f in found] == ["run_model_contradicted"]
    answer = dossier.recommend()
    assert answer.status != "recommended"
    assert "does not explain these runs" in answer.findings[0]


def test_without_runs_nothing_is_said(job_mapping: dict[str, Any]) -> None:
    assert misfit(Dossier.start(job_mapping).fitted()) == ()


def test_a_chance_that_rests_on_a_contradicted_run_model_is_no_recommendation(
    job_mapping: dict[str, Any]
) -> None:
    """A target that nothing misses: the chance is high, and yet it is physics that is wrong."""
    job_mapping["analytes"][0]["target_recovery_percent"] = 3
    job_mapping["analytes"][1]["target_recovery_percent"] = 3
    answer = played(job_mapping, upside_down=True).recommend(robust=False)
    assert answer.fastest is not None
    assert answer.fastest.probability >= 0.95
    assert answer.setting is None
    assert answer.status == "more trials needed"
    assert "no probability can be relied on" in answer.reason
    assert answer.remedies == ()


def test_parameters_however_far_off_have_a_likelihood_that_is_a_number(
    job_mapping: dict[str, Any]
) -> None:
    """Chains try what no prior would draw; a discrepancy of 1e10 once gave none."""
    likelihood = played(job_mapping, upside_down=False).fitted().surrogate.likelihood_.staged()
    z = 6.0 * np.random.default_rng(2).standard_normal((200, likelihood.dimension))
    z[:100, len(NAMES)] = np.linspace(8.0, 40.0, 100)
    assert not np.isnan(likelihood(z)).any()
