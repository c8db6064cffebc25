"""Names a stranger may have chosen: shown on every page as typed, never acted on."""

from __future__ import annotations

import copy
import re
import tomllib

import pytest
import streamlit as st
from hypothesis import HealthCheck, given, settings
from hypothesis import example as shown
from hypothesis import strategies as strategy
from streamlit.testing.v1 import AppTest

from experiments import example_dossiers, service
from experiments.bootstrap import STORE_VARIABLE, local_user, open_store
from experiments.job_file import JobError, parse
from experiments.storage.protocol import Draft
from tests.fuzzing import examples
from wizard import caching, navigation
from wizard.verbatim import literal, verbatim
from wizard.view_models.dossier_list import JOB_DRAFT
from wizard.view_models.job_draft import draft_of, misfits

FETCHED = "![x](http://elsewhere.example/a.png)"
SCRIPT = "<script>alert(1)</script>"
SQL = "Robert'); DROP TABLE dossier;--"
HOSTILE = f"{FETCHED} {SCRIPT} {SQL} :red[*a*] $x$"
AT = "2026-03-02T08:00:00.000+00:00"


def example() -> dict:
    return tomllib.loads(example_dossiers.names()[1].job.read_text("utf-8"))


@pytest.fixture(params=["sqlite", "postgresql"])
def session(request, tmp_path, monkeypatch):
    """The local user on a store of its own that the pages use too."""
    address = (f"sqlite:///{tmp_path / 'store.sqlite'}" if request.param == "sqlite"
               else request.getfixturevalue("postgresql_url"))
    monkeypatch.setenv(STORE_VARIABLE, address)
    monkeypatch.setattr("wizard.warming.begin", lambda: None)
    st.cache_data.clear()
    st.cache_resource.clear()
    store = open_store(address)
    yield service.Session(store, local_user())
    store.close()
    caching.store().close()
    st.cache_resource.clear()


@pytest.fixture
def hostile_id(session) -> str:
    """A dossier whose every name and remark is hostile, with one result."""
    mapping = example()
    mapping["title"] = mapping["equipment"]["name"] = HOSTILE
    mapping["analytes"][0]["name"] = HOSTILE
    dossier_id = service.create(session, parse(mapping)).id
    setting = {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0,
               "end_pressure_mbar": 60.0}
    service.record(session, dossier_id, setting=setting, run_time_min=30.0, remark=HOSTILE,
                   recovery_percent={HOSTILE: 90.0})
    return dossier_id


def opened(key: str, **query: str) -> AppTest:
    at = AppTest.from_file(navigation.__file__.replace("navigation.py", "app.py"),
                           default_timeout=120)
    at.query_params.update(query)
    if key != navigation.HOME:
        at.run()
        at.switch_page(navigation.step(key).file)
    at.run()
    assert not at.exception
    return at


def texts(at: AppTest) -> list[str]:
    found = [*at.markdown, *at.caption, *at.subheader, *at.error, *at.info, *at.success]
    return [str(e.value) for e in found]


FITTING = ("window", "learn", "recommend")
"""Pages that take half a minute to work out what they say of the same names."""


def live(text: str) -> list[str]:
    """What Markdown would act on of the hostile text."""
    return re.findall(r"(?<!\\)!\[|(?<!\\)\]\(|(?<!\\)<script|(?<!\\):red\[\*|(?<!\\)\$x", text)


@pytest.mark.parametrize("session", ["sqlite"], indirect=True)
@pytest.mark.parametrize("key", [s.key for s in navigation.STEPS if s.key not in FITTING])
def test_no_page_acts_on_a_name(session, hostile_id, key):
    at = opened(key, dossier=hostile_id)
    assert not at.error
    shown = texts(at)
    if key in ("dossiers", "job", "results", "report", "compare", "library"):
        assert any("elsewhere.example" in t for t in shown)
    assert not [t for t in shown if live(t)]


def test_text_is_shown_as_it_was_typed():
    assert verbatim("a\n\n# b") == r"a \# b"
    assert not live(verbatim(HOSTILE))
    frame = literal([{HOSTILE: HOSTILE, "n": 1}])
    assert not live(str(frame.columns[0]) + str(frame.iloc[0, 0]))
    assert frame["n"][0] == 1


def test_names_that_look_like_sql_are_names(session, hostile_id):
    (line,) = service.summaries(session)
    assert line.title == HOSTILE
    assert line.facts["equipment"] == HOSTILE
    assert service.load(session, hostile_id).trials[-1].result.remark == HOSTILE
    assert service.audit(session)[hostile_id].holds
    session.store.note(AT, SQL, SQL, {SQL: SQL})
    session.store.save_draft(Draft(SQL, SQL, AT, {SQL: SQL}))
    assert session.store.drafts(SQL)[0].content == {SQL: SQL}
    assert service.load(session, hostile_id).id == hostile_id


ADDRESSES = strategy.one_of(
    strategy.text(max_size=80),
    strategy.sampled_from([HOSTILE, SQL, "x" * 5000, "\x00", "../../etc/passwd", "' OR 1=1 --",
                           "nan", "1e999", "-1", "%00", "memory", ""]),
)


@pytest.mark.slow
@settings(max_examples=examples(8), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(key=strategy.sampled_from(["dossier", "draft", "p", "t", "d", "page", "role"]),
       value=ADDRESSES, page=strategy.sampled_from(["dossiers", "job", "results"]))
def test_any_address_is_answered_in_words(session, key, value, page):
    at = opened(page, **{key: value})
    said = " ".join(str(e.value) for e in at.error)
    assert "Something went wrong" not in said
    assert service.summaries(session) == []


VALUES = strategy.recursive(
    strategy.booleans() | strategy.integers() | strategy.floats() | strategy.text(max_size=5)
    | strategy.dates() | strategy.sampled_from([HOSTILE, "dichloromethane", 10**400]),
    lambda inner: strategy.lists(inner, max_size=2)
    | strategy.dictionaries(strategy.sampled_from(["name", "low", "high", "choices", "x"]), inner,
                            max_size=2), max_leaves=4)
PLACES = ["title", "seed", "equipment", "equipment.name", "equipment.vessels", "factors",
          "factors.set_temperature_c", "factors.keeper", "sample", "sample.solvents",
          "sample.keeper", "sample.fill_volume_ml", "analytes", "limits", "today", "new"]


@pytest.mark.slow
@pytest.mark.parametrize("session", ["sqlite"], indirect=True)
@settings(max_examples=examples(15), deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=strategy.sampled_from(PLACES), value=VALUES)
@shown(place="factors.keeper", value={"choices": ["", 3, "squalane", "squalane"]})
@shown(place="title", value=10**400)
@shown(place="sample.keeper", value={"name": 1})
@shown(place="sample.keeper", value={"name": 0})
@shown(place="sample.keeper", value={"name": ""})
def test_any_job_file_the_form_takes_can_be_shown_and_mended(session, place, value):
    mapping = copy.deepcopy(example())
    *way, last = place.split(".")
    here = mapping
    for step in way:
        here = here[step]
    here[last] = value
    if misfits(mapping):
        with pytest.raises(JobError):
            parse(mapping)
        return
    session.store.save_draft(Draft(session.user.name, f"{JOB_DRAFT}odd", AT, draft_of(mapping)))
    at = opened("job", draft="odd")
    assert not at.error
