"""What the screen says, made from records."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from types import SimpleNamespace

import pytest

from experiments import example_dossiers, service
from experiments.answers import Forecast, Interval
from experiments.authorisation import job_cautions
from experiments.bootstrap import local_user
from experiments.differences import Comparison, Difference
from experiments.factor_space import dialled
from experiments.job_file import parse
from experiments.learnt import Learnt
from experiments.region import Range
from experiments.results_table import read_table
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import Draft, Summary
from experiments.trials import Recovery, Result, Trial
from models.cautions import cautions
from models.errors import Finding
from wizard import messages
from wizard.charts.recoveries import TrialPoint
from wizard.units import Units
from wizard.view_models import (
    compare_rows,
    learn_rows,
    library_rows,
    recommend_rows,
    settings_text,
    window_map,
)
from wizard.view_models.dossier_list import JOB_DRAFT, dossier_lines, draft_lines
from wizard.view_models.earlier_rows import earlier_choices
from wizard.view_models.findings_text import finding_lines, job_substances
from wizard.view_models.history_lines import history_lines
from wizard.view_models.job_draft import draft_of
from wizard.view_models.results_preview import preview
from wizard.view_models.run_panels import run_events, run_panels, run_sentence
from wizard.view_models.setting_entry import middle_setting, stepper
from wizard.view_models.trial_cards import budget_sentence, trial_card, with_forecast
from wizard.view_models.whatif_rows import whatif_lines, whatif_sentence

UNITS = Units()
EXAMPLE = example_dossiers.names()[0]


@pytest.fixture(scope="module")
def job():
    return parse(EXAMPLE.job)


@pytest.fixture(scope="module")
def dossier():
    store = MemoryStore()
    dossier_id = example_dossiers.load(store, EXAMPLE.key, local_user())
    return service.load(service.Session(store, local_user()), dossier_id)


def test_a_trial_entered_without_a_forecast_shows_the_present_one(job):
    today = Trial("T1", middle_setting(job), reason="The method in use today.", origin="today")
    name = job.analytes[0].name
    found = Forecast(today.setting, Interval(44.0, 32.0, 67.0),
                     {name: Interval(97.0, 84.0, 100.0)}, 0.4, finish_probability=0.47)
    card = trial_card(with_forecast(today, found), job, UNITS)
    assert card.run_time == "44 min"
    assert card.reason == ("The method in use today. 40 % to keep every target, 47 % to end as it "
                           "should.")
    assert card.recoveries[0].startswith(f"{name}: 97 % (84 to 100)")


def test_a_promise_covers_the_temperature_of_the_sample(job):
    recovery = {a.name: Interval(97.0, 94.0, 100.0) for a in job.analytes}
    found = Forecast(middle_setting(job), Interval(44.0, 32.0, 67.0), recovery, 0.4,
                     too_warm_probability=0.38)
    lines = recommend_rows.forecast_lines(job, found, found, Units(temperature="K"))
    line = next(x for x in lines if x[""] == "sample temperature")
    assert line["chance to meet"] == "62 %"
    assert line["asked"].endswith("K")
    assert lines[0]["asked"] == f"done within {job.limits.max_run_time_min:g} min"


def test_a_range_of_one_setting_is_no_span():
    setting = {"set_temperature_c": 39.0, "end_pressure_mbar": 50.0}
    box = (Range("set_temperature_c", 39.0, 39.0, False, False),
           Range("end_pressure_mbar", 50.0, 55.0, True, False))
    lines = recommend_rows.range_lines(SimpleNamespace(setting=setting, box=box, proven=()),
                                       UNITS)
    assert [x["all together"] for x in lines] == [
        "39 °C only", "50 to 55 mbar (to the lower bound)"]


def test_ramps_to_choose_lie_in_the_window_and_can_be_dialled(job):
    factor = job.factor("ramp_rate_mbar_per_min")
    ramps = window_map.ramp_choices(job)
    assert ramps == sorted(set(ramps))
    for ramp in ramps:
        assert factor.low <= ramp <= factor.high
        assert dialled(factor, ramp) == ramp


def test_a_middle_setting_can_be_dialled(job):
    setting = middle_setting(job)
    for factor in job.free_factors:
        assert factor.low <= setting[factor.name] <= factor.high
        assert dialled(factor, setting[factor.name]) == setting[factor.name]


def test_steps_follow_the_unit(job):
    pressure = job.factor("end_pressure_mbar")
    shape = stepper(pressure, Units("kPa"))
    assert shape.low == pytest.approx(pressure.low / 10)
    assert shape.step == pytest.approx(pressure.resolution / 10)
    assert shape.digits >= 1


def test_readings_in_words():
    result = Result(40.0, "finished", {
        "a": (Recovery(90.0), Recovery(80.0), None), "b": (Recovery(5.0, censored=True),),
    }, {"a": False, "b": True})
    assert settings_text.recovery_text(result, "a", 3) == "85 % (80 to 90, 2 vessels)"
    assert settings_text.recovery_text(result, "a", 2) == "85 % (80 to 90)"
    assert settings_text.recovery_text(result, "b", 3) == "<5 %"
    assert settings_text.recovery_text(result, "c", 3) == "–"
    assert settings_text.recovery_mean(result, "b") is None


def forecast(job, probability, met=0.7, **risks):
    return Forecast(
        {}, Interval(40.0, 35.0, 46.0),
        {name: Interval(88.0, 80.0, 95.0) for name in ("fluorene", *(a.name for a in job.must))},
        probability,
        analyte_probability={a.name: met for a in job.must}, **risks,
    )


@pytest.mark.parametrize(("found", "said"), [
    ({"boil_over_probability": 0.9}, "liquid may be thrown out (chance 90 %)"),
    ({"finish_probability": 0.4}, "the run may not be done within"),
    ({"too_warm_probability": 0.5}, "the sample may get warmer than"),
    ({}, "may miss its target of"), ({"met": 0.98}, "several small risks add up"),
])
def test_what_if_says_whether_a_setting_may_be_used(job, found, said):
    assert "worth proving by verification" in whatif_sentence(forecast(job, 0.97), job)
    text = whatif_sentence(forecast(job, 0.6, **found), job)
    assert said in text
    assert "below the asked 95 %" in text


def test_what_if_shows_the_difference_to_today(job):
    names = {a.name for a in job.analytes}
    recovery = {n: Interval(88.0, 80.0, 95.0) for n in names}
    now = Forecast({}, Interval(40.0, 35.0, 46.0), recovery, 0.9)
    was = Forecast({}, Interval(90.0, 80.0, 99.0), recovery, 0.9)
    lines = whatif_lines(now, job, was, UNITS)
    assert lines[0]["against today"] == "−50 min"
    assert all(line["against today"] == "same" for line in lines[1:-2])
    assert lines[-1][""] == "sample too warm"
    assert lines[-1]["asked"] == f"at most {job.sample.max_temperature_c:g} °C"
    assert "against today" not in whatif_lines(now, job, None, UNITS)[0]


def test_a_table_is_previewed_row_by_row(job, dossier):
    name = job.analytes[0].name
    text = (f"trial;run_time_min;outcome;recovery_percent:{name};remark\n"
            f";12,5;finished;88,1;mine\n")
    shown = preview(read_table(text, job, dossier.trials), job, dossier.trials, UNITS)
    assert not shown.may_record
    assert shown.rejected[0].startswith("Row 2: The row gives neither a trial nor settings.")
    called = preview(read_table(text, job, dossier.trials), job, dossier.trials, UNITS, ["T9"])
    assert called.rejected[0] == shown.rejected[0].replace("Row 2", "T9")
    good = text.replace("trial;", "trial;set_temperature_c;ramp_rate_mbar_per_min;"
                        "end_pressure_mbar;").replace("\n;12,5", "\n;41;50;60;12,5")
    shown = preview(read_table(good, job, dossier.trials), job, dossier.trials,
                    Units(decimal="comma"))
    assert shown.may_record
    assert shown.understood[0]["run time"] == "12.5 min"
    assert shown.understood[0][name] == "88,1 %"
    assert "1 run understood" in shown.summary


def test_dossiers_are_found_by_any_word():
    summary = Summary("ab12", "Soil extracts", "running", 3, 9, "2026-01-02T03:04:05+00:00",
                      {"solvents": ["dichloromethane"], "analytes": ["pyrene"]})
    assert dossier_lines([summary], "pyrene soil")[0].id == "ab12"
    assert not dossier_lines([summary], "pyrene water")
    assert "3 trials" in dossier_lines([summary])[0].facts


def test_unfinished_jobs_are_listed_and_other_drafts_are_not():
    drafts = [Draft("me", f"{JOB_DRAFT}1f", "2026-01-02T03:04:05+00:00", {"title": ""}),
              Draft("me", "results:x:paste", "2026-01-02T03:04:05+00:00", {"text": "a"})]
    (line,) = draft_lines(drafts)
    assert (line.id, line.title) == ("1f", "Untitled job")


def test_the_gravest_finding_comes_first_and_only_once():
    info = Finding("a", "info", "small: LANDOLT (from memory, D low)")
    stop = Finding("b", "stop", "grave", "Ask.")
    lines = finding_lines([info, stop, info], UNITS)
    assert [x.word for x in lines] == ["Stop", ""]
    assert lines[0].text == "grave Ask."
    assert lines[1].text == "small: Landolt-Börnstein (from memory, low confidence)"


def test_cautions_know_a_half_written_job():
    asked = job_substances({"sample": {"solvents": [{"name": "tetrahydrofuran"}]}})
    assert asked.solvents == ("tetrahydrofuran",)
    assert asked.to_dryness
    assert not job_substances({"sample": {"keeper": {"name": "n-dodecane"}}}).to_dryness


def test_cautions_of_a_written_job_are_those_the_record_holds_to():
    """Every keeper to choose from, the least end volume, structures and the trap count."""
    mapping = tomllib.loads(example_dossiers.names()[1].job.read_text("utf-8"))
    mapping["factors"]["keeper"] = {"choices": ["n-dodecane", "dimethylacetamide"]}
    mapping["equipment"]["condenser_temperature_c"] = -196
    mapping["sample"]["solvents"] = [{"name": "dichloromethane", "volume_fraction": 1.0}]
    mapping["analytes"][0]["smiles"] = "C1N(CN(CN1[N+](=O)[O-])[N+](=O)[O-])[N+](=O)[O-]"
    asked = job_substances(draft_of(mapping))
    shown = cautions(asked.solvents, asked.keepers, asked.analytes, asked.to_dryness,
                     asked.peroxide_test, asked.structures, asked.condenser_temperature_k)
    held = job_cautions(parse(mapping, chemistry=False))
    assert shown == held
    assert {"amide_incompatible", "cold_trap", "energetic_residue"} <= {f.code for f in held}


def test_what_was_learnt_is_drawn_relative_to_what_was_assumed():
    told = Learnt("u", "heat transfer", "W", 100.0, 50.0, 200.0, 80.0, 70.0, 90.0, "less", True)
    silent = Learnt("v", "ceiling", "%", 98.0, 90.0, 100.0, 98.0, 95.0, 99.0, "?", False)
    (row,) = learn_rows.learnt_rows([told, silent], only_told=True)
    assert (row.before, row.mean) == ((0.5, 2.0), 0.8)
    assert learn_rows.learnt_sentences([silent, told]) == (["less"], ["ceiling"])


def test_trials_become_points_with_the_spread_of_their_vessels(dossier, job):
    points = learn_rows.trial_points(dossier)
    assert {p.label for p in points} <= {t.id for t in dossier.recorded}
    assert points[0].kind == "today"
    for point in points:
        for mean, low, high in point.recovery.values():
            assert low <= mean <= high
    assert set(learn_rows.targets(job, only_must=True)) == {a.name for a in job.must}


def test_a_run_in_words_and_panels(job):
    run = {
        "run_time_min": 40.0, "boil_over": True, "recovery_percent": {"a": 90.0, "b": 55.0},
        "trace": {"time_min": [0.0, 30.0, 40.0], "pressure_mbar": [700.0, 60.0, 60.0],
                  "liquid_temperature_c": [20.0, 0.0, 40.0], "volume_ml": [45.0, 0.0, 0.0],
                  "condenser_load_w": [0.0, 200.0, 5.0]},
    }
    assert run_events(run) == {"dry": 30.0, "run ends": 40.0}
    panels = run_panels(run, Units("kPa", "K"))
    assert panels["pressure, kPa"][0] == 70.0
    assert panels["liquid temperature, K"][1] == 273.15
    text = run_sentence(run, job, UNITS)
    assert "40 min" in text
    assert "b: 55 %" in text
    assert "thrown out" in text


@pytest.mark.parametrize(("last", "said"), [
    (54.2, "stops after about 54 min and is not done: 2.4 mL are left"),
    (300.0, "is not done within"),
])
def test_a_run_that_is_not_done_says_whether_it_stopped_or_took_too_long(job, last, said):
    run = {"run_time_min": None, "boil_over": False, "recovery_percent": {"a": 99.9},
           "trace": {"time_min": [0.0, last], "volume_ml": [60.0, 2.4]}}
    text = run_sentence(run, job, UNITS)
    assert said in text
    assert "Hardly anything is lost." in text


def test_a_comparison_in_a_sentence():
    def row(what, verdict):
        return Difference(what, "points", "T1", "T2", 90.0, 80.0, -10.0, -15.0, -5.0, 0.01,
                          verdict, "")

    found = Comparison((row("recovery of a", "different"), row("recovery of b", "same")))
    assert compare_rows.headline(found) == "Different: a; the same within what matters: b."
    assert compare_rows.difference_lines(found, Units(decimal="comma"))[0][
        "difference (95 %)"] == "−10,0 (−15,0 to −5,0)"


def test_budget_and_history_in_words(dossier, job):
    run = f"Of {job.limits.trials} trials {len(dossier.recorded)} are run"
    assert run in budget_sentence(job, dossier.trials)
    waiting = tuple(replace(t, state="pending") for t in dossier.trials[:2])
    assert "next**; the reasons stand below." in budget_sentence(job, waiting)
    assert "next**; the reason stands below." in budget_sentence(job, waiting[:1])
    lines = history_lines(dossier)
    assert lines[-1]["what"] == "started"
    assert len(lines) == len(dossier.events)


def test_unexpected_errors_say_nothing_of_the_inside():
    (line,) = messages.sentences(RuntimeError("secret path"))
    assert "secret" not in line
    assert "nothing was saved" in line


def test_a_comparison_says_each_thing_once_and_large_amounts_in_full():
    found = SimpleNamespace(
        differences=(), sentences=("A batch takes less.", "More samples a week."),
        today=SimpleNamespace(batch_min=74.52, batches_a_day=6, samples_a_day=72,
                              samples_a_week=360, analyst_min_a_week=1125.0,
                              solvent_l_a_week=16.2, condenser_emptyings_a_week=15),
    )
    found.recommended = found.today
    assert compare_rows.headline(found) == "A batch takes less."
    assert compare_rows.further(found) == ["More samples a week."]
    assert [line["recommended"] for line in compare_rows.method_lines(found)] == [
        "74.5", "6", "72", "360", "1125", "16.2", "15"]


def test_the_first_line_of_what_was_learnt_counts_the_runs_that_met_every_target():
    points = [TrialPoint("T1", 49.0, {"a": (92.0, 90.0, 95.0)}),
              TrialPoint("T2", 24.0, {"a": (85.0, 80.0, 90.0)}),
              TrialPoint("T3", 20.0, {"a": (60.0, 50.0, 70.0)})]
    assert learn_rows.first_line(points, {"a": 85.0}) == (
        "3 runs finished with recoveries; 2 of them met every target in the mean, the fastest is "
        "T2 in 24 min.")
    assert "none met every target" in learn_rows.first_line(points, {"a": 99.0})
    assert "; all met every target" in learn_rows.first_line(points, {"a": 50.0})
    assert learn_rows.first_line(points[:1], {"a": 85.0}) == (
        "1 run finished with recoveries and met every target in the mean: T1 in 49 min.")


def test_runs_that_cannot_be_drawn_are_named_with_the_reason(job):
    name = job.analytes[0].name

    def trial(trial_id, minutes, outcome, *readings):
        return Trial(trial_id, {}, state="recorded",
                     result=Result(minutes, outcome, {name: readings} if readings else {}))

    found = SimpleNamespace(job=job, recorded=(
        trial("T1", 40.0, "finished", Recovery(91.0), Recovery(5.0, censored=True)),
        trial("T2", 40.0, "not dry"), trial("T3", None, "finished", Recovery(91.0)),
        trial("T4", 40.0, "finished"), trial("T5", 40.0, "finished", Recovery(91.0))))
    assert learn_rows.left_out(found) == (
        "Not drawn: T1 (readings below their limit, so no mean), T2 (not dry), "
        "T3 (no run time), T4 (no recoveries).")


def test_earlier_dossiers_of_the_same_evaporator_or_analytes_are_offered(job):
    def line(dossier_id, trials=3, equipment="Evaporator Z", analytes=()):
        return Summary(id=dossier_id, title=dossier_id, state="running", trials=trials,
                       revision=4, updated="2026-01-01", facts={
                           "equipment": equipment, "analytes": list(analytes)})

    shared = job.analytes[0].name
    found = earlier_choices([
        line("same", equipment=job.equipment.name), line("stranger"),
        line("untried", trials=0, equipment=job.equipment.name), line("kin", analytes=[shared]),
    ], job)
    assert list(found) == ["", "same", "kin"]
    assert found["same"].endswith("(same evaporator)")
    assert found["kin"].endswith("(1 analyte in common)")


def test_methods_are_found_by_what_they_hold():
    def line(dossier_id, solvent, keeper="", **more):
        return Summary(id=dossier_id, title=dossier_id, state="verified", trials=3, revision=4,
                       updated="2026-01-01", facts={
                           "solvents": [solvent], "analytes": ["carvone"], "keeper": keeper,
                           "equipment": "Evaporator Z", **more})

    bare, kept = line("bare", "n-hexane"), line(
        "kept", "n-hexane", "n-nonane", run_time_min=31.6,
        setting={"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0,
                 "end_pressure_mbar": 60.0})
    store = [bare, kept, line("other", "toluene")]
    assert library_rows.choices(store)["keeper"] == ["n-nonane"]
    assert library_rows.choices(store)["solvents"] == ["n-hexane", "toluene"]
    assert library_rows.found(store, {"solvents": ["n-hexane"]}) == [kept, bare]
    assert library_rows.found(store, {"keeper": ["n-nonane"], "analytes": ["carvone"]}) == [kept]
    assert library_rows.found(store, {"solvents": ["n-hexane", "toluene"]}) == []
    assert "32 min" in library_rows.method_line(kept, Units())
    assert "no setting yet" in library_rows.method_line(bare, Units())
    assert library_rows.sample_line(kept) == (
        "n-hexane · keeper n-nonane · Evaporator Z · carvone · changed 01 Jan 2026, 00:00 · kept")
