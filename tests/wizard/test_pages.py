"""Pages without a browser: what they say when there is nothing, or when something is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from experiments import approval, example_dossiers, service
from experiments.bootstrap import STORE_VARIABLE, local_user, open_store
from experiments.verification_entry import plan_verification, record_verification
from wizard import navigation
from wizard.views import substance_view

APP = Path(navigation.__file__).with_name("app.py")
PAGES = [step.key for step in navigation.STEPS]


@pytest.fixture(autouse=True)
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store of its own for each test, and nothing kept from the test before."""
    path = tmp_path / "laboratory.sqlite"
    monkeypatch.setenv(STORE_VARIABLE, str(path))
    st.cache_data.clear()
    st.cache_resource.clear()
    return path


def opened(key: str, dossier_id: str | None = None) -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=60)
    if dossier_id:
        at.query_params["dossier"] = dossier_id
    if key != navigation.HOME:
        at.run()
        at.switch_page(navigation.step(key).file)
    at.run()
    assert not at.exception
    return at


def said(at: AppTest) -> str:
    return "\n".join(str(e.value) for e in (*at.markdown, *at.caption, *at.subheader))


def begun(store: Path) -> str:
    """A dossier of the first example without its trials."""
    database = open_store(str(store))
    try:
        job = example_dossiers.names()[0].job
        return service.create(service.Session(database, local_user()), job).id
    finally:
        database.close()


@pytest.mark.parametrize("key", PAGES)
def test_a_page_of_an_empty_store_asks_its_question_and_says_what_to_do(key):
    at = opened(key)
    assert at.title[0].value == navigation.step(key).question
    assert not at.error
    if navigation.step(key).needs:
        assert "There is no finished job yet." in said(at)


@pytest.mark.parametrize("key", ["job", "results", "verify", "learn", "report", "compare"])
def test_a_page_of_a_dossier_without_results_says_what_is_missing(store, key):
    at = opened(key, begun(store))
    assert not at.error
    words = {
        "job": "saved when you leave its field", "results": "Waiting for results: **T1**",
        "verify": "There is no recommended setting yet.", "learn": "No result has been entered",
        "report": "nothing to report before the first result", "compare": "Fewer than two runs",
    }
    assert words[key] in said(at)


@pytest.mark.parametrize("key", ["job", "window", "report"])
def test_an_address_of_a_dossier_that_is_not_there_gets_one_sentence(key):
    at = opened(key, "no-such-one")
    assert len(at.error) == 1
    assert "no-such-one" in at.error[0].value


def test_a_page_that_fails_says_one_sentence_and_logs_the_rest(monkeypatch, caplog):
    def broken(*_: object) -> None:
        raise RuntimeError("inner workings")

    monkeypatch.setattr(substance_view, "describe_substance", broken)
    at = opened("substance")
    assert len(at.error) == 1
    assert "Something went wrong inside the program" in at.error[0].value
    assert "inner workings" not in at.error[0].value + said(at)


def test_a_closed_dossier_leads_to_its_next_version(store, monkeypatch):
    monkeypatch.setattr("wizard.answers.untaught", lambda dossier: None)  # no map, to be quick
    dossier_id = begun(store)
    database = open_store(str(store))
    session = service.Session(database, local_user())
    approval.change_state(session, dossier_id, "retired", "the tubes are no longer made")
    told = said(opened("verify", dossier_id))
    assert "starts its next version" in told
    assert "fills once" not in told
    at = opened("report", dossier_id)
    assert "This version is closed." in said(at)
    at.button(key="report.version").click().run()
    assert at.title[0].value == navigation.step("job").question
    assert f"The next version of dossier {dossier_id}." in said(at)
    at.switch_page(navigation.step("job").file).run()
    why = next(t for t in at.text_input if t.label == "What changes, and why")
    why.input("new tubes").run()
    at.button(key="job.start").click().run()
    assert not at.error
    made = service.load(session, next(s.id for s in service.summaries(session)
                                      if s.id != dossier_id))
    database.close()
    assert made.version == 2
    assert made.details.previous == dossier_id


def test_a_solvent_and_an_analyte_of_the_same_list_go_where_they_were_chosen():
    at = opened("job")
    for label, name in (("Add a solvent", "acetone"), ("Add an analyte", "lindane"),
                        ("Add a solvent", "toluene")):
        choice = next(s for s in at.selectbox if s.label == label)
        choice.select(next(o for o in choice.options if o.startswith(f"{name} ·"))).run()
        assert not at.exception
    labels = {t.label for t in at.text_input}
    assert {"Volume fraction of acetone", "Volume fraction of toluene",
            "Target recovery of lindane, %"} <= labels
    assert "Volume fraction of lindane" not in labels


def test_who_has_no_ranges_yet_is_told_where_some_come_from():
    at = opened("job")
    assert "brings ranges to start from" in said(at)
    choice = next(s for s in at.selectbox if s.label == "Usual solvents")
    choice.select("n-Hexane").run()
    assert "brings ranges to start from" not in said(at)


def test_the_figures_of_an_evaporator_stay_open_while_they_are_typed():
    at = opened("job")

    def is_open():
        return next(e for e in at.expander if e.label.startswith("Spin")).proto.expanded

    assert is_open()
    next(t for t in at.text_input if t.label.startswith("Radius")).input("90").run()
    assert is_open()
    choice = next(s for s in at.selectbox if s.label == "Start from an evaporator")
    choice.select(choice.options[0]).run()
    assert not is_open()


def test_a_copied_job_offers_to_start_from_what_its_dossier_taught(store):
    database = open_store(str(store))
    try:
        example = example_dossiers.names()[0]
        dossier_id = example_dossiers.load(database, example.key, local_user())
    finally:
        database.close()
    at = opened("job", dossier_id)
    at.button(key="job.copy").click().run()
    assert not at.exception
    (choice,) = [s for s in at.selectbox if s.label == "Start from an earlier dossier"]
    assert choice.value == dossier_id
    assert any("same evaporator" in text for text in choice.options)


@pytest.mark.slow
def test_a_failed_verification_is_not_the_end(store):
    """Another can be planned, of which no run was made yet."""
    database = open_store(str(store))
    session = service.Session(database, local_user())
    dossier_id = example_dossiers.load(database, "new_analyte_with_keeper", session.user)
    answer = service.recommend(session, dossier_id)[1]
    plan_verification(session, dossier_id, None, answer.setting)
    at = opened("verify", dossier_id)
    assert "Plan another verification" not in [e.label for e in at.expander]
    record_verification(session, dossier_id,
                        "trial,run_time_min,outcome,day\nV1,,not dry,2026-03-02\n")
    database.close()
    at = opened("verify", dossier_id)
    assert "Not passed." in said(at)
    assert "Plan another verification" in [e.label for e in at.expander]
    at.button(key="verify.fix").click().run()
    assert not at.exception
    assert "Plan another verification" not in [e.label for e in at.expander]
    assert "Not passed." not in said(at), "what the first plan counted is not counted again"


def test_a_corrected_cas_number_shows_at_once_in_the_row_of_its_analyte(store):
    at = opened("job", begun(store))
    (field,) = [t for t in at.text_input if t.label == "CAS number"]
    assert "131-11-3" not in said(at)
    field.set_value("131-11-3").run()
    rows = [line for line in said(at).splitlines() if line.startswith(":gray[")]
    assert ":gray[131-11-3]" in rows


def test_an_analyte_is_added_once_and_its_second_naming_is_said():
    at = opened("job")
    at.text_input(key="job.new.analyte").set_value("RX-4")
    at.button(key="job.new.analyte.add").click().run()
    assert at.text_input(key="job.new.analyte").value == ""
    at.text_input(key="job.new.analyte").set_value(" rx-4")
    at.button(key="job.new.analyte.add").click().run()
    assert "rx-4 is in the list already. Give the new one another name." in said(at)
    assert at.text_input(key="job.new.analyte").value == " rx-4"
    assert [b.key for b in at.button if str(b.key).startswith("job.remove.analyte.")] == [
        "job.remove.analyte.0"]


def test_a_correction_is_confirmed_and_marked_in_the_table_of_results(store):
    database = open_store(str(store))
    session = service.Session(database, local_user())
    dossier_id = service.create(session, example_dossiers.names()[1].job).id
    settings = {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0,
                "end_pressure_mbar": 60.0}
    service.record(session, dossier_id, setting=settings, run_time_min=30.0)
    database.close()
    at = opened("results", dossier_id)
    at.selectbox(key="correct.trial").select_index(0).run()
    next(f for f in at.text_input if f.label == "Run time, min").set_value("31")
    next(f for f in at.text_input if f.label == "Why").set_value("misread")
    at.button(key="correct.enter").click().run()
    assert [s.value for s in at.success] == [
        "T1 is corrected. The entry before it stays in the record."]
    assert at.table[0].value["result"].iloc[0] == "31.0\u00a0min, finished, entry corrected"
