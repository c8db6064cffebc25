"""Differences between trials, methods and dossiers: same, different or not told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments.answers import Answer
from experiments.comparison import compare_dossiers, compare_trials
from experiments.consequences import consequences
from experiments.differences import sentence_of
from experiments.entries import EntryError
from experiments.method_in_use import compare_by_day, today_against_recommended
from experiments.trials import Result, Trial
from tests.experiments.justification.conftest import SET_POINT


@pytest.fixture
def dossier(case):
    case.run("T1", {"set_temperature_c": 40.0}, 62.0, carvone=93.0, phthalate=95.0)
    case.run("T2", {"set_temperature_c": 55.0}, 31.0, carvone=60.0, phthalate=93.0)
    case.run("T3", {"set_temperature_c": 41.0}, 60.0, carvone=92.5, phthalate=96.0)
    return case


def verdicts(comparison):
    return {(d.second, d.what): d.verdict for d in comparison.differences}


def test_a_clear_loss_is_different_and_a_small_gap_is_not_told_apart(dossier):
    found = verdicts(compare_trials(dossier, ["T1", "T2", "T3"]))
    assert found["T2", "recovery of carvone"] == "different"
    assert found["T2", "run time"] == "different"
    assert found["T3", "recovery of carvone"] == "cannot tell", "one run each scatters by 5 points"


def test_the_name_of_an_analyte_is_written_as_the_job_writes_it(dossier):
    first = compare_trials(dossier, ["T1", "T2"]).differences[-1]
    told = sentence_of(replace(first, what="recovery of p,p'-DDE"), "same", "5 points")
    assert told.startswith("Recovery of p,p'-DDE: T2 against T1 is the same within 5 points")


def test_words_carry_numbers_and_their_interval(dossier):
    d = next(d for d in compare_trials(dossier, ["T1", "T2"]).differences if "carvone" in d.what)
    assert "is different" in d.sentence
    assert d.low <= d.difference <= d.high
    assert d.difference == pytest.approx(-33.0)


def test_many_repeats_of_the_same_setting_are_called_the_same(case):
    rng = np.random.default_rng(4)
    for i in range(24):
        where = {"set_temperature_c": 40.0 + i % 2}
        case.run(f"T{i + 1}", where, 60.0 * np.exp(0.03 * rng.standard_normal()),
                 carvone=92.0 + 2.0 * rng.standard_normal(), phthalate=95.0)
    found = verdicts(compare_trials(case, ["T1", "T2"]))
    assert found["T2, T4, T6, T8, T10, T12 and 6 more", "recovery of carvone"] == "same"


def test_false_differences_are_rare(case):
    """200 pairs of single runs of one truth, three responses each, corrected for all three."""
    from models.noise import mean_variance

    rng = np.random.default_rng(8)
    sd = 100.0 * np.sqrt(mean_variance(np.array(0.92), np.array(6.0)))
    wrong = 0
    for _ in range(200):
        case.clear()
        for trial, degrees in (("T1", 40.0), ("T2", 41.0)):
            case.run(trial, {"set_temperature_c": degrees},
                     60.0 * np.exp(0.06 * rng.standard_normal()),
                     carvone=92.0 + sd * rng.standard_normal(),
                     phthalate=92.0 + sd * rng.standard_normal())
        found = compare_trials(case, ["T1", "T2"]).differences
        wrong += any(d.verdict == "different" for d in found)
    assert wrong / 200 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)


def test_trials_without_results_cannot_be_compared(dossier):
    dossier.pend("T4", {"set_temperature_c": 50.0})
    with pytest.raises(EntryError, match="T4 has no result"):
        compare_trials(dossier, ["T1", "T4"])


def test_one_setting_is_nothing_to_compare(dossier):
    with pytest.raises(EntryError, match="share one setting"):
        compare_trials(dossier, ["T1"])


def test_an_empty_dossier_says_so(case):
    assert compare_trials(case).sentences == ("No trial is recorded.",)


def test_today_against_recommended_in_samples_a_week(dossier, job, set_point):
    today = {**set_point, "set_temperature_c": 40.0}
    dossier.job = replace(job, today=today)
    found = today_against_recommended(dossier)
    assert found.today.run_time_min == pytest.approx(62.0), "measured, not forecast"
    assert found.recommended.run_time_min == pytest.approx(dossier.recommend().run_time_min.mean)
    assert found.recommended.samples_a_week > found.today.samples_a_week
    assert str(found.recommended.samples_a_week) in found.sentences[1]


def test_a_method_in_use_that_has_not_finished_a_run_has_no_time_to_compare(case, set_point):
    today = {**set_point, "set_temperature_c": 40.0}
    case.job = replace(case.job, today=today)
    case.trials = (Trial("T1", today, result=Result(51.1, "not dry"), state="recorded"),)
    found = today_against_recommended(case)
    assert found.today is None
    assert found.sentences == (
        "The method in use has not finished a run (T1: not dry), so there is no run time to "
        "compare; the recommended one takes 40 min (forecast).",)


def test_counting_batches_by_hand(job):
    """480 min hold eight batches of 40 + 20 min; 6 vessels of 40 mL are 0.24 L a batch."""
    made = consequences(job, 40.0)
    assert made.batches_a_day == 8
    assert made.samples_a_week == 8 * 5 * 6
    assert made.analyst_min_a_week == 8 * 5 * 20
    assert made.solvent_l_a_week == pytest.approx(40 * 0.24)
    assert made.condenser_emptyings_a_week == 10, "a litre holds four batches"
    assert job.trap_sentence.endswith("empty it after 4 batches at the latest.")
    with pytest.raises(EntryError):
        consequences(job, 0.0)


def test_dossiers_are_compared_by_what_they_recommend(dossier, other_case):
    found = {d.what: d for d in compare_dossiers(dossier, [other_case]).differences}
    assert found["run time"].verdict == "different"
    assert found["recovery of carvone"].verdict == "same"
    assert found["run time"].second == other_case.id


def test_a_dossier_without_recommendation_cannot_be_compared(dossier, other_case):
    other_case.answer = replace(other_case.recommend(), setting=None)
    assert isinstance(other_case.answer, Answer)
    with pytest.raises(EntryError, match="no recommended setting"):
        compare_dossiers(dossier, [other_case])


def test_paired_by_day_takes_the_day_out():
    days = [f"2025-04-{d:02d}" for d in range(1, 8)]
    rng = np.random.default_rng(2)
    shift = 8.0 * rng.standard_normal(7)
    today = dict(zip(days, 90 + shift, strict=True))
    new = dict(zip(days, 90.5 + shift + 0.5 * rng.standard_normal(7), strict=True))
    found = compare_by_day(today, new, "carvone", margin=3.0)
    assert found.verdict == "same"
    assert found.low < found.difference < found.high
    worse = compare_by_day(today, {d: v - 6.0 for d, v in new.items()}, "carvone", margin=3.0)
    assert worse.verdict == "different"


def side_by_side(case, days, gain):
    """Both methods on each day: carvone apart by ``gain``, the phthalate not at all."""
    rng = np.random.default_rng(6)
    case.job = replace(case.job, today={**SET_POINT, "set_temperature_c": 40.0})
    for i, day in enumerate(days):
        of_day = 6.0 * rng.standard_normal()
        for name, where, more in (("A", {"set_temperature_c": 40.0}, 0.0), ("B", {}, gain)):
            case.run(f"{name}{i}", where, 60.0, day=day, phthalate=90.0 + of_day,
                     carvone=85.0 + of_day + more + 0.5 * rng.standard_normal())
    found = today_against_recommended(case)
    return {d.what.removeprefix("recovery of "): d for d in found.differences}, found.sentences


def test_both_methods_run_on_the_same_days_are_paired(case):
    found, _ = side_by_side(case, ["Mon", "Tue", "Wed", "Thu"], gain=9.0)
    assert found["carvone"].verdict == "different"
    assert found["carvone"].difference == pytest.approx(9.0, abs=1.0)
    assert found["carvone"].high - found["carvone"].low < 5.0, "the scatter of days drops out"
    assert found["dibutyl phthalate"].verdict == "same"
    assert found["carvone"].sentence.startswith("Recovery of carvone: the new method against the")


@pytest.mark.parametrize("days", [["Mon", "Tue"], ["", "", "", ""]])
def test_too_few_days_in_common_are_said(case, days):
    found, sentences = side_by_side(case, days, gain=9.0)
    assert found == {}
    assert "run both methods on 3 days or more" in sentences[-1]


def test_more_analytes_need_a_larger_difference_to_be_called_different():
    days = [f"day {i}" for i in range(4)]
    today = dict.fromkeys(days, 80.0)
    new = dict(zip(days, (82.0, 86.0, 89.0, 91.0), strict=True))
    one, ten = (compare_by_day(today, new, "carvone", looked_at=n) for n in (1, 10))
    assert (one.verdict, ten.verdict) == ("different", "cannot tell")
    assert (one.low, one.high) == (ten.low, ten.high)
