"""The surrogate as scikit-learn uses an estimator, for notebooks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from sklearn.base import clone
from sklearn.model_selection import cross_val_score

from models.noise import RUN_TIME_SD, run_sd
from models.surrogate import EvaporationSurrogate


@pytest.fixture
def learnt(dossier):
    for trial, minutes, percent in (("T1", 41.0, 92.0), ("T2", 39.0, 90.0)):
        dossier.record(trial, run_time_min=minutes, recovery_percent={
            "diethyl phthalate": percent, "1,2-dichlorobenzene": percent - 30.0})
    for warmer in range(2):
        dossier.record(setting={**dossier.trial("T1").setting, "set_temperature_c": 48.0 + warmer},
                       run_time_min=37.0 - warmer, recovery_percent={"diethyl phthalate": 89.0})
    return dossier.fitted().surrogate


def test_a_copy_learns_from_some_runs_and_is_scored_on_the_others(learnt):
    small = clone(EvaporationSurrogate(learnt.simulator, particles=16, moves=1, seed=3))
    scores = cross_val_score(small, learnt.data_, cv=2)
    assert scores.shape == (2,)
    assert np.isfinite(scores).all()
    part = learnt.data_[np.array([2, 0])]
    assert part.runs == 2
    assert part.recovery == pytest.approx(learnt.data_.recovery[[2, 0]], nan_ok=True)
    assert part.same_day == pytest.approx(learnt.data_.same_day[[2, 0]][:, [2, 0]])


def test_a_score_is_the_mean_log_density_of_the_readings(learnt):
    data = learnt.data_
    mean, sd = learnt.predict(data, return_std=True)
    assert mean == pytest.approx(learnt.predict(data))
    assert np.exp(mean[:, 0]) / 60 == pytest.approx([41.0, 39.0, 37.0, 36.0], rel=0.15)
    densities = [
        norm(mean[i, 0], np.hypot(sd[i, 0], RUN_TIME_SD)).logpdf(data.ln_time[i])
        for i in range(data.runs)
    ]
    for i, a in np.argwhere(np.isfinite(data.recovery)):
        run = run_sd(np.array([data.recovery[i, a]]))[0]
        spread = np.sqrt(sd[i, 1 + a] ** 2 + run**2 * (1.0 + data.within_variance[i, a]))
        densities.append(norm(mean[i, 1 + a], spread).logpdf(data.recovery[i, a]))
    assert learnt.score(data) == pytest.approx(np.mean(densities))
    assert learnt.score(replace(data, recovery=data.recovery - 0.3)) < learnt.score(data)
