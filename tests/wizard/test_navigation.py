"""The order of the pages and what each needs."""

from __future__ import annotations

from pathlib import Path

import pytest

from wizard import navigation
from wizard.navigation import STEPS, Progress

APP = Path(navigation.__file__).parent


@pytest.mark.parametrize("step", STEPS, ids=[s.key for s in STEPS])
def test_every_page_has_its_file_and_asks_a_question(step):
    assert (APP / step.file).is_file()
    assert step.question.endswith("?")
    assert len((APP / step.file).read_text("utf-8").splitlines()) <= 20


def test_every_file_is_a_page():
    assert {p.stem for p in (APP / "steps").glob("*.py")} == {s.key for s in STEPS}


def test_the_order_of_the_job_is_that_of_the_work():
    order = [s.title for s in STEPS if s.section == navigation.JOB_SECTION]
    assert order == ["Job", "Window", "Trials", "Results", "Learn", "Recommend", "Verify",
                     "Report"]


def test_pages_say_what_they_lack_and_where_it_comes_from():
    assert navigation.missing("window", frozenset()) == ("There is no finished job yet.", "job")
    facts = Progress(job=True).facts
    assert navigation.missing("window", facts) is None
    assert navigation.missing("learn", facts)[1] == "results"
    assert navigation.missing("verify", facts)[1] == "recommend"
    assert navigation.missing("substance", frozenset()) is None


def test_a_closed_dossier_sends_nobody_to_a_page_that_cannot_help():
    """Verify once sent to Recommend, where a retired dossier gets no recommendation either."""
    closed = Progress(job=True, recorded=True, closed=True).facts
    said, helper = navigation.missing("verify", closed)
    assert (helper, "next version" in said) == ("report", True)
    assert navigation.missing("learn", closed) is None


def test_work_goes_on_where_it_stopped():
    assert navigation.next_step(frozenset()).key == "job"
    assert navigation.next_step(Progress(job=True).facts).key == "trials"
    assert navigation.next_step(Progress(job=True, proposed=True).facts).key == "results"
    everything = Progress(True, True, True, True, True).facts
    assert navigation.next_step(everything).key == "report"


def test_neighbours_lead_through_the_job():
    assert navigation.neighbours("job")[0] is None
    assert navigation.neighbours("job")[1].key == "window"
    assert navigation.neighbours("report")[1] is None
    assert navigation.neighbours("substance") == (None, None)


def test_pages_are_drawn_again_in_one_place_only():
    """A rerun of its own would take the place of a request that waits, and of its page."""
    found = [p.relative_to(APP).as_posix() for p in APP.rglob("*.py")
             if "st.rerun(" in p.read_text("utf-8")]
    assert found == ["frame.py"]
