"""A reader writes nothing and an enterer approves nothing, whatever is pressed or addressed."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from experiments import example_dossiers, service
from experiments.bootstrap import STORE_VARIABLE, open_store
from experiments.users import User
from wizard import navigation

READER = User("Rhea", frozenset({"read"}))
ENTERER = User("Edda", frozenset({"read", "enter"}))
GRACE = User("Grace")
SETTING = {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 60.0}
PASTED = ("trial;set_temperature_c;ramp_rate_mbar_per_min;end_pressure_mbar;run_time_min\n"
          ";50;40;60;26,5")
PAGES = ["dossiers", "job", "trials", "results", "report"]
"""Pages with something to press, apart from those that are worked out before they are drawn."""


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A dossier of every state of work: one pending trial, one recorded; its id is d1."""
    address = str(tmp_path / "store.sqlite")
    monkeypatch.setenv(STORE_VARIABLE, address)
    monkeypatch.setattr("wizard.warming.begin", lambda: None)
    monkeypatch.setattr("wizard.answers.untaught", lambda dossier: None)  # no map, to be quick
    monkeypatch.setattr("wizard.views.trials_view.show_map", lambda *_, **__: None)
    st.cache_data.clear()
    st.cache_resource.clear()
    opened = open_store(address)
    grace = service.Session(opened, GRACE)
    service.create(grace, example_dossiers.names()[1].job, "d1")
    service.record(grace, "d1", setting=SETTING, run_time_min=30.0,
                   recovery_percent={"QX-17": 95.0})
    yield opened
    opened.close()


def is_user(monkeypatch: pytest.MonkeyPatch, user: User) -> None:
    """Who is signed in, as the provider and the roles file would say."""
    monkeypatch.setattr("wizard.session.current_user", lambda: user)


def opened(key: str, **query: str) -> AppTest:
    at = AppTest.from_file(str(Path(navigation.__file__).with_name("app.py")),
                           default_timeout=120)
    at.query_params.update({"dossier": "d1", **query})
    if key != navigation.HOME:
        at.run()
        at.switch_page(navigation.step(key).file)
    at.run()
    for box in at.selectbox:
        if box.key in ("correct.trial", "verify.correct.run"):
            box.select_index(0).run()
    assert not at.exception
    return at


def content(store) -> list:
    """Everything that is kept of dossiers and forms."""
    summaries = store.summaries()
    return [summaries, [store.events(s.id) for s in summaries],
            [store.drafts(u.name) for u in (READER, ENTERER, GRACE)]]


def pressed(key: str, button: str) -> str:
    """Press a button of a freshly opened page, fields filled in; what the page then says."""
    at = opened(key)
    for field in at.text_input:
        if not field.disabled and field.label in ("Why", "Authorised by", "On what grounds"):
            field.input("because")
    at.button(key=button).click().run()
    assert not at.exception
    return " ".join(str(e.value) for e in at.error)


@pytest.mark.slow
@pytest.mark.parametrize("key", PAGES)
def test_a_reader_who_presses_everything_changes_nothing(store, monkeypatch, key):
    is_user(monkeypatch, READER)
    before = content(store)
    page = opened(key)
    refused = []
    writing = [b for b in page.button
               if not b.disabled and not str(b.key).startswith("report.write")]
    for button in writing:  # a report is read, not written to: it takes a fit and changes nothing
        said = pressed(key, button.key)
        refused += [button.label] if "may not enter" in said or "may not approve" in said else []
        assert content(store) == before, button.label
    asked_to_write = {"dossiers": "Open this example", "trials": "Propose trials",
                      "results": "Enter the correction", "report": "Retire it for good"}
    assert asked_to_write.get(key) in [*refused, None]


def test_a_reader_who_pastes_a_table_may_look_at_it_and_not_record_it(store, monkeypatch):
    is_user(monkeypatch, READER)
    before = content(store)
    at = opened("results")
    if not at.text_area:
        at.segmented_control(key="results.way").set_value("paste").run()
    at.text_area[0].input(PASTED).run()
    at.button(key="results.record").click().run()
    assert "Rhea may not enter here." in at.error[0].value
    assert content(store) == before


@pytest.mark.parametrize("query", [
    {"role": "approve"}, {"user": "Grace"}, {"roles": "enter"}, {"draft": "abc"},
    {"action": "approve"}, {"state": "approved"}, {"is_local": "true"}, {"embed": "true"},
])
def test_no_address_gives_a_right(store, monkeypatch, query):
    is_user(monkeypatch, READER)
    before = content(store)
    at = opened("report", **query)
    to = at.selectbox[0]
    to.select("retired")
    next(t for t in at.text_input if t.label == "Why").input("no longer used").run()
    at.button(key="report.retire").click().run()
    assert "Rhea may not approve here." in at.error[0].value
    assert content(store) == before


def verified(store) -> None:
    def act(dossier):
        dossier.move_to("recommended")
        dossier.move_to("verified", "six runs passed")

    service.change(service.Session(store, GRACE), "d1", act)


@pytest.mark.parametrize(("user", "said"), [
    (READER, "Rhea may not approve here."), (ENTERER, "Edda may not approve here."),
    (GRACE, "Grace entered results of this dossier"),
])
def test_only_another_person_who_may_approve_approves(store, monkeypatch, user, said):
    verified(store)
    is_user(monkeypatch, user)
    at = opened("report")
    at.selectbox[0].select("approved")
    next(b for b in at.button if b.label == "Change the state").click().run()
    assert said in at.error[0].value
    assert store.summaries()[0].state == "verified"
    assert "To take along" in [h.value for h in at.subheader], "the rest of the page stays"


def test_an_approver_approves_and_the_record_says_who(store, monkeypatch):
    verified(store)
    is_user(monkeypatch, User("Hedy"))
    at = opened("report")
    at.selectbox[0].select("approved")
    next(b for b in at.button if b.label == "Change the state").click().run()
    assert not at.error
    assert store.summaries()[0].state == "approved"
    assert store.events("d1")[-1].who == "Hedy"


def test_somebody_without_any_role_sees_no_dossier(store, monkeypatch):
    is_user(monkeypatch, User("Nobody", frozenset()))
    for key in ("dossiers", "results", "report"):
        at = opened(key)
        assert any("Nobody may not read here." in e.value for e in at.error)
        assert not at.dataframe
        assert "QX-17" not in " ".join(str(m.value) for m in at.markdown)
