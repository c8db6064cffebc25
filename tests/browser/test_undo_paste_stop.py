"""What is typed can be taken back, a copied block of cells pasted, a calculation stopped."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from experiments import service
from experiments.trials import Trial
from tests.browser.conftest import SOIL
from tests.browser.reading import PATIENCE_MS, button, fill, press, says, settled, visit
from tests.browser.running import Wizard, begun, running, session_of

pytestmark = [pytest.mark.browser, pytest.mark.slow]

COPIED = "27,5\tfinished\t81,5\t93,1\t90,0\t97,25\t88\n\t\t79,5\t91,0\t92,5\t101,5\t86"
"""Two rows of cells as a spreadsheet with decimal commas puts them on the clipboard."""


def cell(page: Page, place: str):
    return page.locator(f'[data-cell="{place}"]')


def trial(wizard: Wizard, dossier_id: str) -> Trial:
    """The first trial as it stands in the store."""
    with session_of(wizard) as session:
        return service.load(session, dossier_id).trials[0]


def test_what_is_typed_is_taken_back_before_it_is_recorded(page: Page, empty: Wizard) -> None:
    dossier = begun(empty)
    visit(page, empty.url, "results", dossier)
    cell(page, "0-4").fill("81,5")
    cell(page, "0-4").press("Tab")
    says(page, "Before anything is recorded")
    press(page, "Undo")
    expect(cell(page, "0-4")).to_have_value("", timeout=PATIENCE_MS)
    expect(page.get_by_test_id("stMain")).not_to_contain_text("Before anything is recorded")
    expect(button(page, "Undo")).to_be_disabled()
    assert trial(empty, dossier).result is None

    visit(page, empty.url, "dossiers")
    press(page, "Write a new job")
    fill(page, "Title of the job", "Extract of peat")
    fill(page, "Title of the job", "Extract of sand")
    press(page, "Undo")
    title = page.get_by_role("textbox", name="Title of the job", exact=True)
    expect(title).to_have_value("Extract of peat", timeout=PATIENCE_MS)


def test_cells_copied_from_a_spreadsheet_are_pasted_as_they_are(
    page: Page, empty: Wizard
) -> None:
    dossier = begun(empty)
    visit(page, empty.url, "results", dossier)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=empty.url)
    page.evaluate("text => navigator.clipboard.writeText(text)", COPIED)
    cell(page, "0-2").click()
    page.keyboard.press("Control+v")
    expect(cell(page, "0-2")).to_have_value("27,5")
    expect(cell(page, "1-4")).to_have_value("79,5")
    says(page, "1 run understood, nothing rejected")
    press(page, "Record these results")
    says(page, "Recorded T1")
    result = trial(empty, dossier).result
    assert result is not None
    assert (result.run_time_min, result.outcome) == (27.5, "finished")
    assert [r.percent for r in result.recovery["diethyl phthalate"] if r] == [97.25, 101.5]


def test_a_slow_calculation_is_stopped_and_goes_on_later(page: Page, tmp_path: Path) -> None:
    with running(tmp_path, SOIL) as wizard:
        page.goto(f"{wizard.url}/learn?dossier={wizard.dossiers[SOIL]}")
        button(page, "Stop").click(timeout=PATIENCE_MS)
        says(page, "Stopped: Learning from the trials.")
        assert not button(page, "Stop").count()
        page.wait_for_timeout(1000)  # nothing goes on behind the stopped page
        says(page, "Stopped: Learning from the trials.")
        press(page, "Go on")
        says(page, "In plain words")
        settled(page)
