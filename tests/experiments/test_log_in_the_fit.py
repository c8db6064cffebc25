"""What the log of a run teaches beside its run time, on simulated benches."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from experiments.attached_log import log_payload, marks_of
from experiments.dossier_state import read_log_reading
from experiments.factor_space import FactorSpace
from experiments.fitted import fit
from experiments.job_file import parse
from experiments.job_simulator import JobSimulator
from experiments.log_reading import InstrumentLog
from experiments.predicted_run import predicted_run
from experiments.readings import bench_data
from experiments.trials import LogReading, Moment, Recovery, Result, Trial
from models.likelihood import TREND, BenchLikelihood, simulate
from models.noise import RUN_TIME_SD
from models.parameters import INDEX, NAMES

EXAMPLES = Path(__file__).parents[2] / "examples"
JOBS = ("semivolatiles_to_dryness", "new_analyte_with_keeper")
HEAT = INDEX["heat_transfer"]
DRAWS, BENCHES = 6000, 24
FEWEST_INSIDE = 20
"""Of 24 intervals of 95 %, fewer hold the truth once in 170 times by chance (binomial)."""


def setting_of(job) -> dict[str, float | str]:
    return {f.name: f.first_value for f in job.factors} | {
        "set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 100.0, "end_pressure_mbar": 100.0}


def log_of_run(
    job, setting, truth: np.ndarray, pace: float, rng: np.random.Generator
) -> LogReading:
    """What is found in the log of a run that went slower by ``pace``: every 5 s, read with noise,
    the coolant late by a quarter of a minute, the chamber vented after the run."""
    trace = predicted_run(job, setting, truth)["trace"]
    told = {name: np.array(trace[name]) for name in (
        "time_min", "pressure_mbar", "condenser_load_w")}
    at, stop = told["time_min"] * pace, told["time_min"][-1] * pace
    t = np.arange(0.0, stop + 2.0, 1.0 / 12.0)
    pressure = np.where(t > stop, 1013.25, np.interp(t, at, told["pressure_mbar"]))
    load = np.interp(t - 0.25, at, told["condenser_load_w"] / told["condenser_load_w"].max())
    rise = 4.0 * load * (t - 0.25 <= stop)
    cold = -20.0 + 0.02 * rng.standard_normal(len(t))
    log = InstrumentLog(
        {"time": t, "pressure": pressure, "coolant_in": cold,
         "coolant_out": cold + 0.2 + rise + 0.02 * rng.standard_normal(len(t))}, {}, ())
    marks = marks_of(job, setting, log, 0.0)
    return read_log_reading(log_payload("T1", log, marks, "run.csv", "", 0.0))


class Posterior:
    """Of the heat transfer after one trial, by weights of common draws of the prior."""

    def __init__(self, log_likelihood: np.ndarray, z: np.ndarray) -> None:
        weight = np.exp(log_likelihood - log_likelihood.max())
        weight /= weight.sum()
        order = np.argsort(z)
        reached = np.cumsum(weight[order])
        self.mean = float(weight @ z)
        self.sd = math.sqrt(weight @ (z - self.mean) ** 2)
        self.low, self.high = z[order][np.searchsorted(reached, [0.025, 0.975])]
        self.draws = 1.0 / (weight @ weight)


@pytest.mark.slow
@pytest.mark.parametrize("name", JOBS)
def test_a_log_narrows_the_heat_transfer_and_keeps_the_truth(name: str) -> None:
    job = parse(EXAMPLES / f"{name}.toml")
    simulator, space, setting = JobSimulator(job), FactorSpace(job), setting_of(job)
    rng = np.random.default_rng(8)
    z = rng.standard_normal((DRAWS, TREND + len(job.free_factors)))
    plain, logged, draws, inside = [], [], [], 0
    while len(plain) < BENCHES:
        truth = 0.8 * rng.standard_normal(len(NAMES))
        batch = simulate(simulator, simulator.rows([setting]), truth[None])
        if not batch.finished[0]:
            continue
        pace = math.exp(RUN_TIME_SD * rng.standard_normal())
        minutes = float(batch.run_time[0]) / 60.0 * pace
        trial = Trial("T1", setting, result=Result(minutes), state="recorded")
        with_log = replace(trial, log=log_of_run(job, setting, truth, pace, rng))
        found = [
            Posterior(BenchLikelihood(
                simulator, bench_data(job, [t], simulator, space)).staged()(z), z[:, HEAT])
            for t in (trial, with_log)
        ]
        draws.append(found[1].draws)
        plain.append(found[0].sd)
        logged.append(found[1].sd)
        inside += found[1].low <= truth[HEAT] <= found[1].high
    assert np.median(draws) > 100  # independent draws behind a posterior
    assert inside >= FEWEST_INSIDE
    assert np.mean(logged) < 0.95 * np.mean(plain)


def recorded(log: LogReading | None = None) -> Trial:
    job = parse(EXAMPLES / "semivolatiles_to_dryness.toml")
    return Trial("T1", setting_of(job), state="recorded", log=log, result=Result(
        27.0, recovery={job.analytes[0].name: (Recovery(91.0),)},
        is_mean={job.analytes[0].name: True}))


@pytest.mark.slow
def test_a_log_that_tells_nothing_leaves_every_draw_as_it_was() -> None:
    job = parse(EXAMPLES / "semivolatiles_to_dryness.toml")
    silent = fit(job, [recorded(LogReading())])
    plain = fit(job, [recorded()])
    telling = fit(job, [recorded(LogReading(boiling=Moment(2.0, 1.6, 2.1)))])
    assert silent is not plain
    np.testing.assert_array_equal(silent.surrogate.posterior_.z, plain.surrogate.posterior_.z)
    assert not np.array_equal(telling.surrogate.posterior_.z, plain.surrogate.posterior_.z)


def data_of(trial: Trial):
    job = parse(EXAMPLES / "semivolatiles_to_dryness.toml")
    return bench_data(job, [trial], JobSimulator(job), FactorSpace(job))


def test_a_run_time_read_off_a_coarse_log_is_believed_less() -> None:
    coarse = LogReading(run_time=Moment(27.0, 24.0, 30.0))
    assert data_of(recorded(coarse)).time_variance == pytest.approx([(3.0 / 27.0) ** 2 / 3.0])
    other = LogReading(run_time=Moment(31.0, 28.0, 34.0))  # the analyst kept her own
    assert data_of(recorded(other)).time_variance == [0.0]


def test_the_log_of_an_aborted_run_tells_nothing() -> None:
    log = LogReading(*(Moment(t, t - 0.1, t + 0.1) for t in (2.0, 8.0, 15.0, 27.0)))
    trial = recorded(log)
    assert np.isfinite(data_of(trial).course).all()
    aborted = replace(trial, result=replace(trial.result, outcome="aborted"))
    assert np.isnan(data_of(aborted).course).all()
