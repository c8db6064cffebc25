"""Starting a dossier from an earlier one: what comes along, how sure, and when it is wrong."""

from __future__ import annotations

import copy
import json
from dataclasses import replace

import numpy as np
import pytest

from experiments import Dossier
from experiments.carried_prior import carried_prior
from experiments.carry_check import UNLIKELY
from experiments.carry_over import (
    Carried,
    CarryOver,
    Source,
    carried_words,
    carry_over_payload,
    read_carry_over,
)
from experiments.carrying import (
    WEIGHT,
    carry_over,
    findings,
    in_another_liquid,
    probabilities,
)
from experiments.entries import EntryError
from experiments.event_checks import check_events
from experiments.fitted import fit
from experiments.job_file import parse
from experiments.physics import PhysicsModel
from models.noise import RUN_TIME_SD
from models.parameters import INDEX, NAMES, PARAMETERS, natural
from models.run_model import surviving_fraction

TRUE_Z = np.zeros(len(NAMES))
TRUE_Z[[INDEX["heat_transfer"], INDEX["start_delay"], INDEX["condenser_limit"]]] = 1.4, -1.0, 0.5
OTHER_Z = np.zeros(len(NAMES))
OTHER_Z[[INDEX["heat_transfer"], INDEX["start_delay"]]] = -1.8, 1.2
TRUE_LN = np.array([0.7, 0.0])
"""True ln of what multiplies the volatility of each analyte."""
SOURCE = Source("earlier", "An earlier job", 1, 20, "ab12", 8)


def job_of(solvent: str, **equipment) -> dict:
    """The same evaporator and analytes from one solvent or another."""
    return {
        "title": f"Two analytes from {solvent}", "seed": 11,
        "equipment": {
            "name": "Evaporator C", "vessels": 8, "vessel_capacity_ml": 100,
            "relative_centrifugal_force": 300, "rotor_radius_mm": 170,
            "condenser_temperature_c": -40, "condenser_capacity_ml": 900,
            "ramp_start_pressure_mbar": 600, "ultimate_pressure_mbar": 2,
            "end_point_load_fraction": 0.04, "end_point_hold_min": 3, **equipment,
        },
        "factors": {
            "set_temperature_c": {"low": 30, "high": 60, "step": 1},
            "ramp_rate_mbar_per_min": {"low": 5, "high": 150},
            "end_pressure_mbar": {"low": 5, "high": 60},
        },
        "sample": {"fill_volume_ml": 55, "max_temperature_c": 58, "end_volume_ml": 0,
                   "solvents": [{"name": solvent, "volume_fraction": 1.0}]},
        "analytes": [{"name": "QX-9", "target_recovery_percent": 50, "molar_mass_g_per_mol": 160,
                      "vapour_pressure": [{"temperature_c": 25, "pressure_pa": 4}]},
                     {"name": "diethyl phthalate", "target_recovery_percent": 85}],
        "limits": {"max_run_time_min": 180, "assurance": 0.95, "trials": 9,
                   "trials_per_batch": 3},
    }


def run_bench(dossier: Dossier, z: np.ndarray, count: int, seed: int) -> None:
    """Record runs of the run model itself at known parameters, with the usual scatter."""
    rng = np.random.default_rng(seed)
    physics = PhysicsModel(dossier.job)
    unit = rng.random((count, 3))
    low = np.array([f.low for f in dossier.job.factors])
    high = np.array([f.high for f in dossier.job.factors])
    for row in np.round(low + (0.3 + 0.6 * unit) * (high - low)):
        setting = dict(zip((f.name for f in dossier.job.factors), map(float, row), strict=True))
        batch = physics.simulate([setting], z)
        if not batch.finished[0] or batch.run_time[0] > 60.0 * dossier.job.limits.max_run_time_min:
            dossier.record(setting=setting, outcome="not dry")
            continue
        left = surviving_fraction(
            batch, physics.spike_mol, TRUE_LN[None], np.ones((1, 2)), np.full((1, 2), -np.inf))
        minutes = float(batch.run_time[0]) / 60.0 * np.exp(RUN_TIME_SD * rng.standard_normal())
        shown = 100.0 * left[0] * (1.0 + 0.05 * rng.standard_normal(2))
        names = [a.name for a in dossier.job.analytes]
        dossier.record(
            setting=setting, run_time_min=round(float(minutes), 2),
            recovery_percent={n: round(float(r), 1) for n, r in zip(names, shown, strict=True)})


@pytest.fixture(scope="module")
def earlier() -> Dossier:
    made = Dossier.start(job_of("n-hexane"), dossier_id="earlier")
    run_bench(made, TRUE_Z, 9, seed=1)
    return made


@pytest.fixture(scope="module")
def fresh(earlier) -> Dossier:
    return Dossier.start(job_of("ethyl acetate"), earlier=earlier, dossier_id="later")


def test_the_record_holds_the_numbers_and_their_source(earlier, fresh):
    event = next(e for e in fresh.events if e.kind == "carried over")
    carried = fresh.details.carried
    assert event.payload["source"]["hash"] == earlier.events[-1].hash
    assert event.payload["source"]["revision"] == len(earlier.events)
    assert read_carry_over(json.loads(json.dumps(event.payload))) == carried
    assert check_events(fresh.events) == "later"
    words = carried_words(carried)
    assert "dossier earlier" in words
    assert "heat transfer" in words
    assert "70 %" in words


def test_what_was_learnt_comes_along_less_sure(earlier, fresh):
    """Heat transfer is carried near its truth, wider than it was known and narrower than usual."""
    known = earlier.fitted().surrogate.posterior_.z[:, INDEX["heat_transfer"]]
    carried = fresh.details.carried.equipment["heat_transfer"]
    usual = PARAMETERS[INDEX["heat_transfer"]].sd
    assert known.std() * usual < carried.sd < usual
    truth = float(natural(TRUE_Z)[INDEX["heat_transfer"]])
    assert abs(np.log(carried.centre / truth)) < 2.0 * carried.sd
    assert not {"entrainment", "film_transport", "hold_up"} & set(fresh.details.carried.equipment)


def test_nothing_hangs_on_the_earlier_dossier_afterwards(fresh, earlier):
    again = Dossier.from_events(fresh.events)
    before = fresh.details.carried
    other = Dossier.from_events(earlier.events)
    other.exclude("T1", "spilt")
    assert again.details.carried == before


def test_a_first_forecast_is_nearer_the_truth_than_a_cold_one(fresh):
    """Run times before any trial against the run model at the true parameters."""
    cold = Dossier.start(job_of("ethyl acetate"))
    settings = [{"set_temperature_c": t, "ramp_rate_mbar_per_min": 60.0, "end_pressure_mbar": p}
                for t in (40.0, 50.0) for p in (15.0, 30.0, 50.0)]
    batch = PhysicsModel(cold.job).simulate(settings, TRUE_Z)
    error = []
    for dossier in (fresh, cold):
        means = [f.run_time_min.mean for f in dossier.forecast(settings)]
        error.append(np.nanmean(np.abs(np.log(np.array(means) * 60.0 / batch.run_time))))
    assert error[0] < 0.6 * error[1]


def test_the_same_evaporator_agrees(fresh):
    dossier = Dossier.from_events(fresh.events)
    run_bench(dossier, TRUE_Z, 3, seed=2)
    fitted = dossier.fitted()
    assert probabilities(fitted)["evaporator"] > WEIGHT
    assert fitted.time_check.p_value > 0.1
    assert any("of the evaporator agrees with the runs" in text for text in findings(fitted))


def test_a_swapped_evaporator_is_noticed_said_and_does_not_steer(fresh):
    """Three runs on another evaporator: the knowledge carried loses its say, in words too."""
    dossier = Dossier.from_events(fresh.events)
    run_bench(dossier, OTHER_Z, 3, seed=3)
    fitted = dossier.fitted()
    assert fitted.time_check.p_value < UNLIKELY
    assert fitted.time_check.ratio > 1.5
    assert "evaporator" not in probabilities(fitted)
    assert findings(fitted)[0].startswith("The runs speak against what dossier earlier knew of "
                                          "the evaporator: they took ")
    assert dossier.recommend().findings[0] == findings(fitted)[0]
    now, alone = (
        np.mean([heat_transfer(dossier, known, seed) for seed in (11, 12, 13)])  # of few draws
        for known in (fresh.details.carried, None)
    )
    assert now == pytest.approx(alone, abs=0.5)


def heat_transfer(dossier: Dossier, known: CarryOver | None, seed: int) -> float:
    """What the runs make of it in the mean, standardised, with those random numbers."""
    fitted = fit(replace(dossier.job, seed=seed), dossier.trials, carried=known)
    return float(fitted.surrogate.posterior_.z[:, INDEX["heat_transfer"]].mean())


def test_other_vessels_and_evaporators_leave_things_behind(earlier):
    smaller = carry_over(earlier, parse(job_of("ethyl acetate", vessel_capacity_ml=60)))
    assert "heat_transfer" not in smaller.equipment
    assert any("vessel_capacity_ml differs" in text for text in smaller.left_out)
    other = carry_over(earlier, parse(job_of("n-hexane", name="Evaporator D")))
    assert not other.equipment
    assert "Nothing of the evaporator" in other.left_out[0]


def test_an_analyte_with_other_properties_is_left_behind(earlier):
    data = copy.deepcopy(job_of("n-hexane"))
    data["analytes"][0]["vapour_pressure"][0]["pressure_pa"] = 7
    carried = carry_over(earlier, parse(data))
    assert "QX-9" not in carried.analytes
    assert any("QX-9" in text for text in carried.left_out)
    known = carry_over(earlier, parse(job_of("n-hexane"))).analytes["QX-9"]
    assert abs(np.log(known.centre) - TRUE_LN[0]) < 2.0 * known.sd


def test_a_volatility_learnt_in_another_liquid_is_left_behind_with_the_reason(earlier, fresh):
    """Little is known of QX-9 but its vapour pressure; in each liquid gamma is another unknown."""
    assert "QX-9" in carry_over(earlier, parse(job_of("n-hexane"))).analytes
    assert "QX-9" not in fresh.details.carried.analytes
    assert any(text.startswith("Not carried, because it is another in another liquid: volatility "
                               "of QX-9") for text in fresh.details.carried.left_out)


def test_of_a_volatility_the_vapour_pressure_goes_into_another_liquid():
    """Against the conditional of a joint normal (Anderson, An Introduction to Multivariate
    Statistical Analysis, theorem 2.5.1) of ln P, ln gamma in both liquids, one of them read.
    """
    pressure, here, there, error, seen = 0.7, 0.4, 0.9, 0.3, 1.1
    before = np.hypot(pressure, here)
    read = pressure**2 + here**2 + error**2
    learnt, spread = seen * before**2 / read, np.sqrt(before**2 - before**4 / read)
    mean, sd = in_another_liquid(learnt, spread, before, here, there)
    assert mean == pytest.approx(seen * pressure**2 / read)
    assert sd**2 == pytest.approx(pressure**2 + there**2 - pressure**4 / read)
    assert in_another_liquid(0.0, before, before, here, here) == pytest.approx((0.0, before))


def test_an_earlier_dossier_that_cannot_help_is_refused(earlier):
    empty = Dossier.start(job_of("n-hexane"), dossier_id="empty")
    with pytest.raises(EntryError, match="no results to learn from"):
        Dossier.start(job_of("ethyl acetate"), earlier=empty)
    stranger = job_of("ethyl acetate", name="Evaporator D")
    stranger["analytes"] = [{"name": "dibutyl phthalate", "target_recovery_percent": 80}]
    with pytest.raises(EntryError, match="Nothing of dossier earlier helps here"):
        Dossier.start(stranger, earlier=earlier)


def test_a_job_that_rests_on_it_keeps_its_evaporator(fresh):
    dossier = Dossier.from_events(fresh.events)
    with pytest.raises(EntryError, match="carries knowledge over from dossier earlier"):
        dossier.change_job(parse(job_of("toluene")))
    filled = job_of("ethyl acetate")
    filled["sample"]["fill_volume_ml"] = 30
    dossier.change_job(parse(filled))
    assert dossier.details.carried == fresh.details.carried


@pytest.mark.parametrize("change", [
    {"weight": 1.0}, {"weight": float("nan")}, {"equipment": {"colour": Carried(1.0, 1.0)}},
    {"equipment": {"heat_transfer": Carried(-3.0, 1.0)}},
    {"analytes": {"QX-9": Carried(1.0, 0.0)}},
])
def test_impossible_numbers_are_refused(change):
    made = CarryOver(SOURCE, 0.7, {"heat_transfer": Carried(100.0, 0.2)}, {})
    assert read_carry_over(carry_over_payload(made)) == made
    with pytest.raises(EntryError, match="cannot be"):
        read_carry_over(carry_over_payload(replace(made, **change)))


def test_the_prior_is_on_the_scales_of_the_surrogate():
    """One sd above the usual heat transfer, half as wide; a gas gap has a median of its own."""
    step = PARAMETERS[INDEX["heat_transfer"]].sd
    made = CarryOver(SOURCE, 0.7, {
        "heat_transfer": Carried(30.0 * float(np.exp(step)), 0.5 * step),
        "area_exponent": Carried(0.65, 0.075, log=False),
    }, {"diethyl phthalate": Carried(float(np.exp(-0.4)), 0.2)})
    job = parse(job_of("n-hexane", heating="gas gap"))
    prior = carried_prior(made, job, np.array([0.8, 0.4]))
    place = [INDEX["heat_transfer"], INDEX["area_exponent"]]
    assert prior.mean[place] == pytest.approx([1.0, 1.0])
    assert prior.sd[place] == pytest.approx([0.5, 0.5])
    assert prior.volatility_mean == pytest.approx([0.0, -1.0])
    assert prior.volatility_sd == pytest.approx([1.0, 0.5])
