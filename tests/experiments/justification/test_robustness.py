"""Robustness: the design is balanced, effects come back, the worst corner is judged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import Dossier
from experiments.entries import EntryError
from experiments.job import Factor
from experiments.report.digits import factor_name
from experiments.robustness import (
    CENTRES,
    ORIGIN,
    analyse_robustness,
    factorial_settings,
    plan_robustness,
    steps,
)
from models.noise import RUN_TIME_SD, mean_variance

NAMES = ("set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar")


@pytest.fixture
def dossier(job, fit, monkeypatch) -> Dossier:
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    return Dossier.start(job, dossier_id="robust")


def coded(job, setting, settings):
    moved = steps(job)
    return np.array([[(s[n] - setting[n]) / moved[n] for n in NAMES] for s in settings])


def run_all(dossier, set_point, recovery, minutes=40.0):
    """Record every planned run by a formula of the coded factors."""
    for trial in plan_robustness(dossier, set_point):
        (x,) = coded(dossier.job, set_point, [trial.setting])
        dossier.record(trial.id, run_time_min=minutes * float(np.exp(0.02 * x[0])),
                       recovery_percent={n: [recovery(n, x)] * 6 for n in
                                         ("carvone", "dibutyl phthalate")})
    return analyse_robustness(dossier)


def test_the_half_fraction_is_balanced_and_orthogonal(job, set_point):
    settings = factorial_settings(job, set_point)
    x = coded(job, set_point, settings)
    corners = x[:-CENTRES]
    assert len(settings) == 4 + CENTRES
    assert np.allclose(corners.T @ corners, 4.0 * np.eye(3))
    assert np.allclose(corners.sum(axis=0), 0.0)
    assert np.allclose(np.abs(corners), 1.0)
    assert np.allclose(x[-CENTRES:], 0.0)


def test_two_factors_get_the_whole_factorial_and_four_a_resolution_of_four(job, set_point):
    fixed = replace(job, factors=(*job.factors[:2], Factor("end_pressure_mbar", 60.0, 60.0)))
    assert len(factorial_settings(fixed, set_point)) == 4 + CENTRES
    more = replace(job, factors=(*job.factors, Factor("end_point_hold_min", 1.0, 8.0)))
    settings = factorial_settings(more, {**set_point, "end_point_hold_min": 4.0})
    x = np.array([[s[f.name] for f in more.factors] for s in settings[:-CENTRES]])
    x = np.sign(x - x.mean(axis=0))
    pairs = np.column_stack([x[:, i] * x[:, j] for i in range(4) for j in range(i)])
    assert len(x) == 8
    assert np.allclose(x.T @ pairs, 0.0), "no main effect is mixed up with a pair of factors"


def test_steps_are_twice_what_the_equipment_holds(job):
    assert steps(job)["set_temperature_c"] == 2.0
    assert steps(job)["end_pressure_mbar"] == 4.0
    assert steps(job)["ramp_rate_mbar_per_min"] == 6.0  # 3 % of the window, to the next mbar/min


def test_runs_are_pending_with_reason_and_forecast(dossier, set_point):
    trials = plan_robustness(dossier, set_point)
    assert {t.origin for t in trials} == {ORIGIN}
    assert all(t.state == "pending" and t.run_time_min["mean"] > 0.0 for t in trials)
    assert sum("the set point itself" in t.reason for t in trials) == CENTRES
    assert any("set temperature raised to 47 °C" in t.reason for t in trials)
    with pytest.raises(EntryError, match="already planned"):
        plan_robustness(dossier, set_point)
    assert analyse_robustness(dossier) is None, "nothing was run yet"
    assert Dossier.from_events(dossier.events).trials == dossier.trials


def test_effects_come_back_with_the_interval_of_the_usual_scatter(dossier, set_point):
    """Effect of A is twice its slope; four corners of one run each give it the variance of one
    run, worked out by hand."""
    found = run_all(dossier, set_point, lambda n, x: 90.0 - 1.5 * x[0] + 0.5 * x[2])
    effect = {(e.response, e.factor): e for e in found.effects}
    heat = effect["carvone", "set_temperature_c"]
    assert heat.estimate == pytest.approx(-3.0, abs=0.05)
    sd = 100.0 * np.sqrt(mean_variance(np.array(0.9), np.array(6)))
    assert heat.interval[1] - heat.estimate == pytest.approx(1.96 * sd, rel=0.03)
    assert "does not show" in heat.sentence
    assert heat.forecast < 0.0, "the formula of the forecasts loses more when it is hotter"
    assert effect["carvone", "end_pressure_mbar"].estimate == pytest.approx(1.0, abs=0.05)
    time = effect["run time", "set_temperature_c"]
    assert time.estimate == pytest.approx(100.0 * np.expm1(0.04), abs=0.01)
    assert time.interval[0] == pytest.approx(100.0 * np.expm1(0.04 - 1.96 * RUN_TIME_SD), abs=0.1)


@pytest.mark.parametrize(("level", "verdict"), [
    (98.0, "holds"), (89.0, "not shown"), (62.0, "fails")])
def test_the_worst_corner_is_judged(dossier, set_point, level, verdict):
    found = run_all(dossier, set_point, lambda n, x: level - 1.5 * x[0])
    (corner,) = [c for c in found.corners if c.analyte == "carvone"]
    assert corner.verdict == verdict
    assert corner.mean == pytest.approx(level - 1.5, abs=0.5)
    assert corner.lower_limit < corner.mean


def test_a_run_that_stays_wet_is_told(dossier, set_point):
    trials = plan_robustness(dossier, set_point)
    for i, trial in enumerate(trials):
        if i == 1:
            dossier.record(trial.id, outcome="not dry")
        else:
            dossier.record(trial.id, run_time_min=40.0, recovery_percent={"carvone": 92.0})
    assert analyse_robustness(dossier).failed_runs == (f"{trials[1].id} ended as not dry",)


def test_a_set_point_too_near_zero_is_refused(job, set_point):
    with pytest.raises(EntryError, match="too close to zero"):
        factorial_settings(job, {**set_point, "end_pressure_mbar": 4.0})


def test_a_corner_that_no_ramp_could_reach_is_refused(job, set_point):
    """The ramp starts at 600 mbar; such a run in the record could not be imported again."""
    with pytest.raises(EntryError, match="could not be made: .*start of the ramp at 600 mbar"):
        factorial_settings(job, {**set_point, "end_pressure_mbar": 597.0})


def test_every_factor_has_a_name(job):
    assert all(factor_name(n) for n in steps(job))


def test_only_the_last_study_is_analysed(dossier, set_point):
    run_all(dossier, set_point, lambda n, x: 40.0)
    warmer = {**set_point, "set_temperature_c": 48.0}
    found = run_all(dossier, warmer, lambda n, x: 97.0)
    assert (found.setting, len(found.trials)) == (warmer, 6)
    assert found.holds
    for trial in plan_robustness(dossier, set_point):
        dossier.withdraw(trial.id)
    assert analyse_robustness(dossier) == found, "a study that was withdrawn is none"


def test_what_was_measured_in_too_few_runs_is_not_said_to_hold(dossier, set_point):
    found = run_all(dossier, set_point, lambda n, x: 97.0)
    corners = [t for t in dossier.trials if t.setting != set_point]
    for trial in corners[:2]:
        dossier.exclude(trial.id, "spilt")
    found = analyse_robustness(dossier)
    assert found.corners == ()
    assert not found.holds
    assert "carvone was measured in too few of the runs to tell." in found.untold


def test_a_run_beyond_the_job_s_ranges_is_named_as_one(dossier, set_point):
    """The search ended there; whether the evaporator can go on, only the analyst knows."""
    highest = next(f.high for f in dossier.job.factors if f.name == "set_temperature_c")
    planned = plan_robustness(dossier, {**set_point, "set_temperature_c": highest})
    beyond = [t.setting["set_temperature_c"] > highest for t in planned]
    assert any(beyond)
    assert beyond == ["own range of set temperature: make sure" in t.reason for t in planned]


def test_a_reading_below_its_limit_counts_as_nothing(dossier, set_point):
    """As in a verification: half of the limit would hold up a corner that may have failed."""
    for trial in plan_robustness(dossier, set_point):
        dossier.record(trial.id, run_time_min=40.0, recovery_percent={
            "carvone": [90.0, 90.0, 90.0, 90.0, 90.0, "<84"], "dibutyl phthalate": [95.0] * 6})
    effects = analyse_robustness(dossier)
    corner = next(c for c in effects.corners if c.analyte == "carvone")
    assert corner.mean == pytest.approx(75.0)
