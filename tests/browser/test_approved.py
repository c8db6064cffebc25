"""An approved dossier: nothing changes it any more, and a change starts its next version."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import KEEPER
from tests.browser.reading import asked, button, choose, fill, press, says, text_of, turn_to, visit
from tests.browser.running import running
from tests.browser.states import verify

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_an_approved_method_is_frozen_and_changes_by_a_new_version(
    page: Page, tmp_path: Path
) -> None:
    with running(tmp_path, KEEPER) as wizard:
        verify(wizard, wizard.dossiers[KEEPER])
        visit(page, wizard.url, "report", wizard.dossiers[KEEPER])
        runs = runs_recorded(page)
        the_method_is_approved_and_frozen(page)
        the_next_version_begins(page, runs)
        assert "Traceback" not in wizard.words()


def the_method_is_approved_and_frozen(page: Page) -> None:
    choose(page, "Next", "approve")
    fill(page, "Why", "criteria met")
    page.reload()
    asked(page, "report")
    expect(page.get_by_role("textbox", name="Why")).to_have_value("criteria met")
    press(page, "Change the state")
    says(page, "Version 1, approved")
    says(page, "This version is closed. A change starts a new one.")
    turn_to(page, "results")
    says(page, "This dossier is closed; results are entered in a new version.")
    assert not button(page, "Record these results").count()
    assert not page.get_by_text("Correct a result").count()
    turn_to(page, "trials")
    assert not button(page, "Propose trials").count()
    turn_to(page, "job")
    says(page, "The job is fixed")


def runs_recorded(page: Page) -> str:
    found = re.search(r"(\d+) runs recorded", text_of(page))
    assert found is not None
    return found[1]


def the_next_version_begins(page: Page, runs: str) -> None:
    press(page, "Write a new version")
    asked(page, "job")
    fill(page, "Target recovery of QX-17, %", "80")
    fill(page, "What changes, and why", "another customer asks for less")
    page.reload()
    asked(page, "job")
    says(page, "QX-17 (at least 80 %)")
    press(page, "Start the new version")
    asked(page, "window")
    turn_to(page, "report")
    says(page, "Version 2")
    assert runs_recorded(page) == runs, "the results came along"
