"""How a report says numbers, names and changes: small parts, without a fit."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from experiments import Dossier
from experiments.answers import Interval
from experiments.job_differences import differences
from experiments.report import job_part
from experiments.report.charts import cut_names
from experiments.report.digits import figures, interval, plain, printed
from experiments.report.document import Notice, Paragraph, Section, Table
from experiments.report.job_part import decision_word
from experiments.report.labels import choose_places
from experiments.report.maps import band_levels, band_words
from experiments.report.means import mean_recovery
from experiments.report.rationale import (
    Neighbour,
    neighbours,
    what_was_rejected,
    why_this_setting,
)
from experiments.report.record_part import record
from experiments.report.terms import terms
from experiments.sensitivity import drifts
from experiments.substance_text import in_print
from experiments.trials import Recovery, Result, Trial
from experiments.verification_plan import plan


def run(*readings: Recovery | None) -> Result:
    return Result(30.0, "finished", {"carvone": readings}, {"carvone": False})


def test_a_mean_with_readings_below_their_limit_is_said_in_one_way():
    """(20 + 40 + 5)/3 at the most, with half the limit (20 + 40 + 2.5)/3."""
    held = run(Recovery(20.0), Recovery(40.0), Recovery(5.0, True), None)
    found = mean_recovery(held, "carvone")
    assert found.highest == pytest.approx(65.0 / 3.0)
    assert found.middle == pytest.approx(62.5 / 3.0)
    assert found.words() == "<21.7"
    assert found.count == 3
    assert mean_recovery(run(None), "carvone") is None
    assert mean_recovery(run(Recovery(20.0), Recovery(41.0)), "carvone").words(0) == "30"


def test_a_rejected_trial_says_below_where_its_mean_is_a_limit(job, set_point):
    held = run(*(Recovery(5.0, True),) * 3)
    trial = Trial("T1", set_point, result=held, state="recorded")
    assert what_was_rejected(job, [trial]) == (
        "T1 gave back too little: carvone <5 % (target 80 %).",)


@pytest.mark.parametrize(("text", "shown"), [
    ("wall above -38 degC", "wall above −38 °C"), ("2-pentanone", "2-pentanone"),
    ("(-20 degC)", "(−20 °C)"), ("IEC 60079-20-1", "IEC 60079-20-1"), ("30-60 min", "30-60 min"),
])
def test_signs_and_units_of_sentences(text, shown):
    assert printed(text) == shown


def test_numbers():
    assert plain(-45.0) == "−45"
    assert figures(3.2e-7) == "3.2×10⁻⁷"
    assert interval(Interval(100.0, 99.1, 100.0)) == "100 (99 to 100)", "three figures at most"
    assert interval(Interval(9.31, 8.7, 9.9)) == "9.3 (8.7 to 9.9)"


def test_a_grade_of_evidence_is_said_in_words():
    told = in_print("Mackay et al. handbook (from memory, D high)")
    assert told == "Mackay et al. handbook (from memory, high confidence)"
    assert "HEOS_FIT" not in in_print("ANTOINE_WEBBOOK; HEOS_FIT")


def test_names_that_are_cut_stay_different():
    names = ["1,1,1-trichloro-2,2-bis(4-methoxyphenyl)ethane",
             "1,1,1-trichloro-2,2-bis(4-methoxyphenyl)propane"]
    cut = cut_names([*names, "phenol"], 20)
    assert len(set(cut.values())) == 3
    assert all(len(v) <= 20 for v in cut.values())
    assert cut["phenol"] == "phenol"


@pytest.mark.parametrize("asked", [0.5, 0.6, 0.8, 0.95])
def test_the_bands_of_a_map_rise_to_the_assurance(asked):
    levels = band_levels(asked)
    assert list(levels) == sorted(set(levels))
    assert levels[-1] == asked
    assert len(band_words(asked)) == len(levels) + 1


def test_a_label_stays_inside_its_frame():
    assert choose_places([(50.0, -98.0)], (0.0, -100.0, 100.0, 0.0)) != ["above"]
    assert choose_places([(50.0, -98.0)]) == ["above"]


def test_only_terms_that_stand_in_the_report_are_explained():
    (table,) = terms([Section("a", "A", (Paragraph("A keeper; the RSD is 3 %."),))]).blocks
    assert [row[0].text for row in table.rows] == ["keeper", "RSD"]


def test_a_new_version_lists_what_it_changed(job):
    changed = replace(job, limits=replace(job.limits, assurance=0.9))
    made = Dossier.start(changed, dossier_id="second", origin={
        "version": 2, "previous": "first", "previous_hash": "0" * 64, "reason": "wider",
        "results_carried": False,
        "changes": [vars(d) for d in differences(job, changed)],
    })
    tables = [b for b in record(SimpleNamespace(dossier=made)).blocks if isinstance(b, Table)]
    assert [[c.text for c in row] for row in tables[0].rows] == [
        ["limits.assurance", "0.95", "0.9"]]
    assert "starts without the results" in tables[0].note


@pytest.mark.parametrize(("entered", "said"), [
    (["Ada"], "The results of the previous version count in this one."),
    ([], "The previous version had no results.")])
def test_a_new_version_says_whether_results_came_along(job, entered, said):
    made = Dossier.start(job, dossier_id="second", origin={
        "version": 2, "previous": "first", "results_carried": True, "results_by": entered})
    told = [b.text for b in record(SimpleNamespace(dossier=made)).blocks
            if isinstance(b, Paragraph)]
    assert f"The job is that of the previous version. {said}" in told


def test_a_setting_below_the_assurance_is_told_without_an_end_of_it(fit, set_point):
    """"Beyond 45 from 45" says nothing; neighbours are told with their probability only."""
    low = replace(fit, level=-40.0)
    shown = low.forecast([set_point])[0]
    assert shown.probability < low.job.limits.assurance
    lines = why_this_setting(low.job, shown, neighbours(low, set_point), drifts(low, set_point))
    assert not [line for line in lines if "beyond" in line or "below the asked" in line]
    assert any("the probability would be" in line for line in lines)
    held = fit.forecast([set_point])[0]
    assert held.probability >= fit.job.limits.assurance
    told = why_this_setting(fit.job, held, neighbours(fit, set_point), drifts(fit, set_point))
    assert any("beyond" in line for line in told)


def test_a_sample_that_may_get_too_warm_is_told_as_what_limits(fit, set_point):
    shown = replace(fit.forecast([set_point])[0], too_warm_probability=0.3)
    assert why_this_setting(fit.job, shown, (), ())[0].startswith(
        "What limits the setting: the sample may get warmer than 55 °C (chance 30 %).")


def test_a_verification_of_another_setting_is_never_told_as_that_of_the_setting_shown(set_point):
    """A method sheet said "verification passed" beside a setting that nobody had verified."""
    other = {**set_point, "end_pressure_mbar": 73.0}
    passed = SimpleNamespace(decision="pass")
    told = [decision_word(SimpleNamespace(setting=set_point, verification=passed, runs=("V1",),
                                          plan=SimpleNamespace(setting=of)))
            for of in (set_point, other)]
    assert told == ["passed", "passed at another setting"]


@pytest.mark.parametrize(("why", "tone"), [("", "answer"), ("V3 boiled over", "caution")])
def test_a_setting_that_failed_its_verification_is_not_headed_as_recommended(
    why, tone, fit, set_point, monkeypatch
):
    monkeypatch.setattr(job_part, "why_it_failed", lambda dossier, setting: why)
    (notice,) = [b for b in job_part.purpose(SimpleNamespace(
        dossier=SimpleNamespace(job=fit.job), setting=set_point, is_recommended=True, runs=(),
        shown=fit.forecast([set_point])[0], region=None, plan=plan(fit, set_point),
        verification=SimpleNamespace(decision="fail"))).blocks if isinstance(b, Notice)]
    assert notice.kind == tone
    assert notice.title.startswith("Recommended") == (not why)


def test_a_probability_that_misses_the_assurance_is_never_told_as_it(fit, set_point):
    """"The probability would be 95 %, below the asked 95 %" says nothing."""
    shown = fit.forecast([set_point])[0]
    near = Neighbour("end_pressure_mbar", 50.0, replace(shown, probability=0.9496))
    (line,) = [x for x in why_this_setting(fit.job, shown, [near], ()) if "below the asked" in x]
    assert "would be 94.9 %, below the asked 95 %" in line
