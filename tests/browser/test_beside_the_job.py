"""What follows a recommended setting: does it hold when settings drift, and in another vessel?"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import KEEPER
from tests.browser.reading import PATIENCE_MS, asked, fill, press, says, text_of, turn_to
from tests.browser.running import Wizard, running
from tests.browser.verification_rows import robustness_table

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PASTED = "Rows copied from a spreadsheet, with their header"


def test_a_robustness_study_is_planned_run_and_judged(page: Page, tmp_path) -> None:
    with running(tmp_path, KEEPER) as wizard:
        dossier = wizard.dossiers[KEEPER]
        a_setting_is_recommended(page, wizard, dossier)
        turn_to(page, "verify")
        says(page, "Does it hold when settings drift?")
        press(page, "Plan the robustness runs")
        says(page, "Waiting for the runs")
        runs = re.findall(r"\bT\d+\b", text_of(page).split("Waiting for the runs")[1])
        page.reload()
        asked(page, "verify")
        says(page, "Waiting for the runs")
        page.get_by_role("link", name="Enter results").click()
        asked(page, "results")
        page.get_by_text("Paste a table", exact=True).click()
        fill(page, PASTED, robustness_table(runs))
        says(page, f"{len(runs)} runs understood, nothing rejected")
        press(page, "Record these results")
        says(page, "The forecasts now rest on it.")
        turn_to(page, "verify")
        says(page, "Every target holds at the worst corner")
        says(page, "QX-17 is lowest at the setting of")
        assert "Traceback" not in wizard.words()


def a_setting_is_recommended(page: Page, wizard: Wizard, dossier: str) -> None:
    """Read as soon as it is there, as a person does."""
    page.goto(f"{wizard.url}/recommend?dossier={dossier}")
    expect(page.get_by_test_id("stMain")).to_contain_text("Use this setting", timeout=PATIENCE_MS)


def test_another_vessel_is_answered_and_becomes_a_job_of_its_own(page: Page, tmp_path) -> None:
    with running(tmp_path, KEEPER) as wizard:
        a_setting_is_recommended(page, wizard, wizard.dossiers[KEEPER])
        turn_to(page, "transfer")
        says(page, "Nothing differs yet")
        fill(page, "Fill of each vessel, mL", "nine")
        says(page, "is not a number")
        fill(page, "Fill of each vessel, mL", "9")
        says(page, "A run takes")
        page.reload()
        asked(page, "transfer")
        says(page, "A run takes")
        says(page, "every target met")
        press(page, "Write it as a new job")
        asked(page, "job")
        expect(page.get_by_role("textbox", name="Fill of each vessel, mL")).to_have_value("9")
        says(page, "The job is complete.")
        assert "Traceback" not in wizard.words()
