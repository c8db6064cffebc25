"""Verification: who passes, how often, and what is said when runs are missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import service
from experiments.acceptance import AnalyteCriteria, default_criteria
from experiments.bootstrap import local_user
from experiments.corrections import corrections
from experiments.dossier import Dossier
from experiments.entries import EntryError, check_result
from experiments.storage.memory import MemoryStore
from experiments.transfer import export_dossier, import_dossier
from experiments.trials import Recovery, Result
from experiments.verification import decide, verify, why_it_failed
from experiments.verification_entry import (
    correct_run,
    note_plan,
    note_runs,
    read_runs_table,
    record_verification,
)
from experiments.verification_plan import chance_of_passing, plan, plan_payload, read_plan
from experiments.verification_rules import RunSummaries, assess
from experiments.verification_runs import VerificationRun, read_run, recorded_runs, run_payload


def make_run(number, setting, recoveries, *, day=None, time=40.0, outcome="finished", **more):
    recovery = {n: tuple(None if np.isnan(v) else Recovery(float(v)) for v in values)
                for n, values in recoveries.items()}
    result = Result(time if outcome == "finished" else None, outcome, recovery,
                    dict.fromkeys(recovery, False), day=day or f"2025-03-{number:02d}")
    result = replace(result, **more.pop("result", {}))
    return VerificationRun(f"V{number}", dict(setting), result, **more)


def make_runs(rng, setting, count, mean=(91.0, 94.0), run_sd=3.0, vessel_sd=2.0, days=None):
    """Runs as a bench would give them: each with its own shift, vessels about it."""
    runs = []
    for i in range(count):
        values = {
            name: m + run_sd * rng.standard_normal() + vessel_sd * rng.standard_normal(6)
            for name, m in zip(("carvone", "dibutyl phthalate"), mean, strict=True)
        }
        day = None if days is None else f"2025-03-{i % days + 1:02d}"
        runs.append(make_run(i + 1, setting, values, day=day))
    return runs


@pytest.fixture
def made(fit, set_point):
    return plan(fit, set_point, default_criteria(fit.job, runs=6, days=6))


def decisions(job, made, sets, seed, **scene):
    rng = np.random.default_rng(seed)
    return [
        decide(job, made, make_runs(rng, made.setting, 6, **scene)).decision for _ in range(sets)
    ]


@pytest.mark.parametrize("run_sd", [0.5, 3.0, 8.0])
@pytest.mark.parametrize("days", [3, 6])
def test_a_method_just_below_target_is_accepted_at_most_once_in_twenty(
    job, fit, set_point, run_sd, days
):
    """The worst of the bad methods: one analyte a hair below target, the other far above."""
    made = plan(fit, set_point, default_criteria(job, runs=6, days=days))
    found = decisions(job, made, 400, seed=days, mean=(79.99, 99.0), run_sd=run_sd, days=days)
    assert found.count("pass") / 400 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 400)


@pytest.mark.parametrize("day_share", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("design", [(6, 3), (6, 6), (9, 3), (12, 4)])
def test_the_confidence_limit_errs_as_often_as_said_whatever_days_share(job, design, day_share):
    """20 000 sets of runs at a true mean of exactly the target, an effect shared by days."""
    runs, days = design
    rules = default_criteria(job, runs=runs, days=days)
    alone = replace(rules, analytes=(AnalyteCriteria("carvone", 80.0, 0.0, 200.0, 100.0),))
    rng = np.random.default_rng([runs, days])
    day = np.arange(runs) % days
    shared = rng.standard_normal((20_000, days, 1))[:, day]
    own = rng.standard_normal((20_000, runs, 1))
    means = 80.0 + 4.0 * (np.sqrt(day_share) * shared + np.sqrt(1 - day_share) * own)
    summaries = RunSummaries(means, np.zeros((20_000, 1)), np.ones(1), np.zeros(1), day)
    accepted = assess(summaries, alone).holds["confidence limit"].mean()
    assert accepted == pytest.approx(0.05, abs=0.005)  # three standard errors


def test_a_good_method_passes_as_often_as_was_planned(job, fit, set_point):
    """The chance shown beforehand against decisions on vessel readings drawn another way:
    6 % of the mean between runs, 3.5 % between vessels, run times as predicted."""
    fit.sd = 0.01  # the true means are known, so only the scatter of the bench decides
    made = plan(fit, set_point, default_criteria(job, runs=6, days=6))
    rng = np.random.default_rng(21)
    sets, passed = 400, 0
    for _ in range(sets):
        runs = []
        minutes = 40.0 * np.exp(0.04 * rng.standard_normal())
        for i, run in enumerate(made.runs):
            values = {}
            time = minutes * np.exp(0.085 * rng.standard_normal())
            for name, mean, sd in (("carvone", 91.0, 5.46), ("dibutyl phthalate", 94.0, 5.64)):
                values[name] = mean + sd * rng.standard_normal() + (
                    0.035 * mean * rng.standard_normal(6))
                values[name][run.blank_vessel - 1] = np.nan
            runs.append(make_run(i + 1, set_point, values, time=time))
        passed += decide(job, made, runs).decision == "pass"
    assert passed / sets == pytest.approx(made.chance_of_passing, abs=0.06)  # four std. errors


def test_six_runs_on_three_days_often_fail_a_good_method(fit, set_point):
    chances = {(c.runs, c.days): c.chance for c in plan(fit, set_point).alternatives}
    assert chances[6, 3] < 0.7 < 0.8 < chances[6, 6]


def test_luck_in_common_makes_analytes_pass_or_fail_together(fit, set_point, monkeypatch):
    """With two analytes near their limits, one stroke of luck serves both."""
    chance = []
    for share in (0.02, 0.98):
        monkeypatch.setattr(type(fit), "common_share", share, raising=False)
        chance.append(chance_of_passing(fit, set_point))
    assert chance[1] > chance[0] + 0.02


def test_a_setting_at_the_edge_of_its_target_is_told_to_fail_often(fit, set_point):
    inside = chance_of_passing(fit, set_point)
    edge = {**set_point, "set_temperature_c": 60.0}
    assert fit.probability([edge])[0] > 0.95, "it would be recommended"
    assert chance_of_passing(fit, edge) < 0.5 < inside


def test_the_plan_says_what_it_needs(fit, set_point):
    made = plan(fit, set_point)
    assert made.criteria.days >= 3
    assert made.chance_of_passing >= 0.9
    assert 80.0 < made.needed_mean["carvone"] < 95.0
    assert {r.day for r in made.runs} == set(range(1, made.criteria.days + 1))
    assert len({r.blank_vessel for r in made.runs}) == 6, "the blank goes round"


def test_the_same_job_gives_the_same_plan(fit, set_point):
    assert plan(fit, set_point) == plan(fit, set_point)


def test_plan_and_runs_survive_the_record(made, set_point):
    import json

    assert read_plan(json.loads(json.dumps(plan_payload(made)))) == made
    run = make_run(1, set_point, {"carvone": np.array([90.0, np.nan])},
                   blank_percent={"carvone": 2.0})
    assert read_run(json.loads(json.dumps(run_payload(run)))) == run


def test_no_run_yet_is_not_a_pass(job, made):
    found = decide(job, made, [])
    assert found.decision == "not enough runs"
    assert "0 of 6 planned runs" in found.reason
    assert "0 of at least" not in found.reason
    says = {c.name: c.sentence for c in found.criteria}
    assert {says[n] for n in ("days", "longest run", "run time as predicted")} == {"No run yet."}
    assert found.as_json()["criteria"]
    assert found.as_json()["chance_of_passing"] == made.chance_of_passing


def test_five_of_six_runs_are_not_enough_however_good(job, made):
    runs = make_runs(np.random.default_rng(1), made.setting, 5, run_sd=0.5)
    found = decide(job, made, runs)
    assert found.decision == "not enough runs"
    assert all(c.met is None for c in found.criteria if c.name == "confidence limit")


def test_good_runs_pass_with_every_criterion_named(job, made):
    found = decide(job, made, make_runs(np.random.default_rng(1), made.setting, 6, run_sd=1.0))
    assert found.decision == "pass"
    assert {c.name for c in found.criteria if c.decides} == {
        "every run finishes", "runs", "days", "positions", "longest run",
        "run time as predicted", "mean in band", "scatter", "confidence limit",
    }


def test_too_few_days_or_positions_are_not_enough(job, made):
    rng = np.random.default_rng(1)
    one_day = make_runs(rng, made.setting, 6, run_sd=0.5, days=2)
    assert "2 of at least 6 days" in decide(job, made, one_day).reason
    runs = [
        make_run(i + 1, made.setting, {n: np.array([v, v, np.nan, v, v, v]) for n, v in
                                       (("carvone", 91.0 + i), ("dibutyl phthalate", 95.0 + i))})
        for i in range(6)
    ]
    assert "vessel 3" in decide(job, made, runs).reason


def test_one_boil_over_at_the_set_point_fails_at_once(job, made):
    runs = make_runs(np.random.default_rng(1), made.setting, 2)
    runs.append(make_run(3, made.setting, {}, outcome="boil-over"))
    found = decide(job, made, runs)
    assert found.decision == "fail"
    assert "V3 ended as boil-over" in found.reason


def test_scatter_fails_a_method_whose_mean_is_fine(job, made):
    values = [70.0, 112.0, 75.0, 110.0, 72.0, 111.0]
    runs = [make_run(i + 1, made.setting, {"carvone": np.full(6, v),
                                           "dibutyl phthalate": np.full(6, 95.0 + i)})
            for i, v in enumerate(values)]
    found = decide(job, made, runs)
    failed = {(c.name, c.analyte) for c in found.criteria if c.met is False}
    assert ("scatter", "carvone") in failed
    assert ("mean in band", "carvone") not in failed


def test_runs_that_do_not_count_say_why(job, made):
    rng = np.random.default_rng(1)
    good = make_runs(rng, made.setting, 6, run_sd=0.5)
    odd = [
        make_run(7, {**made.setting, "end_pressure_mbar": 61.0}, {"carvone": np.full(6, 90.0)}),
        make_run(8, made.setting, {"carvone": np.full(6, 90.0)}),
        replace(good[0], id="V9", blank_percent={"carvone": 31.0}),
        replace(good[0], id="V10", result=replace(good[0].result, corrected=True)),
        replace(good[0], id="V11", result=replace(good[0].result, day="")),
        make_run(12, made.setting, {}, outcome="aborted"),
    ]
    found = decide(job, made, [*odd, *good])
    assert found.decision == "pass"
    assert {"V7": "end_pressure_mbar" in found.set_aside["V7"],
            "V8": "dibutyl phthalate not measured" in found.set_aside["V8"],
            "V9": "31 %" in found.set_aside["V9"],
            "V10": "corrected" in found.set_aside["V10"],
            "V11": "day" in found.set_aside["V11"],
            "V12": "aborted" in found.set_aside["V12"]} == dict.fromkeys(found.set_aside, True)


def test_more_runs_after_the_decision_cannot_turn_it(job, made):
    rng = np.random.default_rng(1)
    bad = make_runs(rng, made.setting, 6, mean=(70.0, 94.0))
    more = [replace(r, id=f"W{i}") for i, r in
            enumerate(make_runs(rng, made.setting, 20, mean=(99.0, 99.0)))]
    found = decide(job, made, [*bad, *more])
    assert found.decision == "fail"
    assert len(found.counted) == 6
    assert len(found.later) == 20


def test_a_vessel_that_reads_low_is_named(job, made):
    rng = np.random.default_rng(3)
    runs = make_runs(rng, made.setting, 6, vessel_sd=1.0)
    lowered = []
    for run in runs:
        values = list(run.result.recovery["carvone"])
        values[3] = Recovery(values[3].percent - 8.0)
        recovery = {**run.result.recovery, "carvone": tuple(values)}
        lowered.append(replace(run, result=replace(run.result, recovery=recovery)))
    (told,) = [c for c in decide(job, made, lowered).criteria if "positions alike" in c.name]
    assert "Vessel 4" in told.sentence
    assert not told.decides


def test_an_action_limit_is_held_against_single_vessels(job, fit, set_point):
    criteria = default_criteria(job)
    rows = tuple(replace(a, action_limit=60.0) for a in criteria.analytes if a.decides)
    made = plan(fit, set_point, replace(criteria, analytes=rows, days=6))
    steady = make_runs(np.random.default_rng(1), set_point, 6, run_sd=1.0)
    found = decide(job, made, steady)
    limits = [c for c in found.criteria if c.name == "tolerance limit"]
    assert found.decision == "pass"
    assert all(60.0 < c.found < 90.0 for c in limits)
    wild = make_runs(np.random.default_rng(1), set_point, 6, mean=(95.0, 95.0), run_sd=18.0)
    assert any(c.met is False for c in decide(job, made, wild).criteria
               if c.name == "tolerance limit")


def test_a_reading_below_its_limit_counts_as_nothing(job, made):
    runs = make_runs(np.random.default_rng(1), made.setting, 6, run_sd=0.5)
    broken = replace(runs[0].result, recovery={
        **runs[0].result.recovery, "carvone": tuple([Recovery(5.0, censored=True)] * 6)})
    found = decide(job, made, [replace(runs[0], result=broken), *runs[1:]])
    mean = next(c for c in found.criteria if (c.name, c.analyte) == ("mean in band", "carvone"))
    assert mean.found == pytest.approx(91.0 * 5 / 6, abs=1.5)
    assert found.decision == "fail"


def test_two_days_are_no_verification(job):
    with pytest.raises(EntryError):
        default_criteria(job, runs=6, days=2)


def test_a_run_made_after_the_decision_is_listed_and_does_not_turn_it(job, made):
    runs = make_runs(np.random.default_rng(3), made.setting, 6, mean=(95.0, 95.0), run_sd=0.5)
    assert decide(job, made, runs).decision == "pass"
    late = make_run(7, made.setting, {}, outcome="not dry")
    found = decide(job, made, [*runs, late])
    assert (found.decision, found.later) == ("pass", ("V7",))
    early = make_run(7, made.setting, {}, outcome="not dry")
    assert decide(job, made, [early, *runs]).decision == "fail"


def test_a_trial_that_found_the_setting_does_not_prove_it_when_a_reading_is_added(
    job, set_point
):
    dossier = Dossier.start(job, dossier_id="found")
    dossier.record(None, setting=set_point, run_time_min=40.0,
                   recovery_percent={"carvone": [90.0, 91.0]})
    dossier.note_event("recommended", {"setting": set_point})
    dossier.record("T1", recovery_percent={"carvone": [None, None, 92.0]})
    dossier.record(None, setting=set_point, run_time_min=41.0,
                   recovery_percent={"carvone": [93.0, 91.0]})
    assert [r.id for r in recorded_runs(dossier, set_point)] == ["T2"]


def test_a_second_plan_names_its_runs_from_the_first_again(job, fit, set_point, monkeypatch):
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    dossier = Dossier.start(job, dossier_id="twice")
    rows = "".join(f"V1,{v},40,2025-03-01,{90 + v},{91 + v}\n" for v in range(1, 7))
    table = ("trial,vessel,run_time_min,day,recovery_percent:carvone,"
             "recovery_percent:dibutyl phthalate\n" + rows)
    for _ in range(2):
        plan_again = note_plan(dossier, default_criteria(job, runs=3, days=3), set_point)
        given = read_runs_table(dossier, plan_again, table)
        assert note_runs(dossier, plan_again, given) == ["V1"]
        again = read_runs_table(dossier, plan_again, table)
        assert ["already recorded" in r.reason for r in again.rejected] == [True]
        assert note_runs(dossier, plan_again, again) == []


def test_a_run_without_a_number_or_a_day_is_taken_and_said(job, fit, set_point, monkeypatch):
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    dossier = Dossier.start(job, dossier_id="blank")
    made = note_plan(dossier, default_criteria(job, runs=3, days=3), set_point)
    both = "recovery_percent:carvone,recovery_percent:dibutyl phthalate"
    found = read_runs_table(dossier, made, f"trial,run_time_min,{both}\n,40,91,92\n")
    assert found.is_clean
    assert any("No day is given" in n for n in found.notes)
    assert note_runs(dossier, made, found) == ["V1"]
    assert recorded_runs(dossier, set_point)[0].setting == set_point


def test_a_run_is_corrected_in_its_place_and_the_old_entry_stays(
    job, fit, set_point, monkeypatch
):
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    session = service.Session(MemoryStore(), local_user())
    made = service.create(session, job, "mended")
    service.change(session, made.id, lambda d: note_plan(
        d, default_criteria(job, runs=3, days=3), set_point))
    both = "recovery_percent:carvone,recovery_percent:dibutyl phthalate"
    rows = "".join(f"V{i},40,{91 + i},92\n" for i in (1, 2))
    record_verification(session, made.id, f"trial,run_time_min,{both}\n{rows}")
    with pytest.raises(EntryError, match="reason"):
        correct_run(session, made.id, "V1", " ", day="2026-03-10")
    with pytest.raises(EntryError, match="no verification run 'V9'"):
        correct_run(session, made.id, "V9", "why", day="2026-03-10")
    correct_run(session, made.id, "V1", "the day was left out", day="10.03.2026",
                recovery_percent={"carvone": 93.0})
    after = service.load(session, made.id)
    first, second = recorded_runs(after, set_point)
    assert (first.id, first.result.day, first.result.run_time_min) == ("V1", "2026-03-10", 40.0)
    assert first.result.recovery["dibutyl phthalate"] == (Recovery(92.0),)
    assert (second.id, second.result.day) == ("V2", "")
    assert list(corrections(after.events).values()) == [
        "day none to 2026-03-10; carvone 92 % to 93 %"]
    assert after.events[-1].payload["replaces"] == after.events[-3].seq
    assert verify(after).set_aside == {"V2": "its day is not given"}
    other = service.Session(MemoryStore(), local_user())
    moved = service.load(other, import_dossier(other, export_dossier(session, made.id)).id)
    assert recorded_runs(moved, set_point) == [first, second]


def test_a_failed_verification_stays_with_its_setting(job, fit, set_point, monkeypatch):
    monkeypatch.setattr(Dossier, "fitted", lambda self, progress=None: fit)
    dossier = Dossier.start(job, dossier_id="failed")
    assert why_it_failed(dossier, set_point) == ""
    made = note_plan(dossier, default_criteria(job, runs=3, days=3), set_point)
    assert why_it_failed(dossier, set_point) == ""
    note_runs(dossier, made, read_runs_table(dossier, made, "trial,outcome\nV1,boil-over\n"))
    assert "boil-over" in why_it_failed(dossier, set_point)
    assert why_it_failed(dossier, {**set_point, "end_pressure_mbar": 61.0}) == ""


@pytest.mark.parametrize(("written", "kept"), [
    ("10.03.2026", "2026-03-10"), ("2026/3/10", "2026-03-10"), ("25/03/2026", "2026-03-25"),
    ("Tuesday, early", "Tuesday, early"), ("03/03/2026", "2026-03-03"),
])
def test_a_date_is_one_day_however_it_is_written(job, written, kept):
    assert check_result(job, 40.0, "finished", {}, day=written).day == kept


@pytest.mark.parametrize(("written", "said"), [
    ("03/04/2026", "can be read two ways"), ("31.02.2026", "is no date")])
def test_a_date_that_nobody_can_place_is_refused(job, written, said):
    with pytest.raises(EntryError, match=said):
        check_result(job, 40.0, "finished", {}, day=written)
