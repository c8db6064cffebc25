"""The wizard without a mouse."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import SOIL
from tests.browser.keyboard import RING, tab_to
from tests.browser.reading import PATIENCE_MS, asked, says, settled, text_of, visit
from tests.browser.running import Wizard, begun

pytestmark = pytest.mark.browser

def test_the_menu_is_walked_with_the_keyboard(page: Page, laboratory: Wizard) -> None:
    visit(page, laboratory.url, "results", laboratory.dossiers[SOIL])
    for title, key in (("Job", "job"), ("Trials", "trials"), ("Report", "report")):
        tab_to(page, title)
        assert page.evaluate(RING), f"nothing shows that {title!r} has the focus"
        page.keyboard.press("Enter")
        asked(page, key)


def test_a_form_is_filled_in_with_the_keyboard(page: Page, laboratory: Wizard) -> None:
    visit(page, laboratory.url, "dossiers")
    tab_to(page, "Write a new job")
    page.keyboard.press("Enter")
    asked(page, "job")
    tab_to(page, "Title of the job")
    page.keyboard.type("Extract of peat")
    page.keyboard.press("Tab")
    settled(page)
    tab_to(page, "Add a solvent")
    page.keyboard.type("67-64-1")
    page.keyboard.press("Enter")
    says(page, "acetone")
    tab_to(page, "With a keeper")
    page.keyboard.press("Space")
    field = page.get_by_role("textbox", name="Keeper in each vessel, mL", exact=True)
    expect(field).to_be_visible(timeout=PATIENCE_MS)
    page.reload()
    asked(page, "job")
    expect(page.get_by_role("textbox", name="Title of the job")).to_have_value("Extract of peat")
    expect(field).to_be_visible(timeout=PATIENCE_MS)
    says(page, "acetone")


def test_results_are_typed_and_recorded_with_the_keyboard(page: Page, empty: Wizard) -> None:
    visit(page, empty.url, "results", begun(empty))
    tab_to(page, "trial T1, vessel 1, run time, min")
    page.keyboard.type("27.5")
    tab_to(page, "trial T1, vessel 1, naphthalene, %")
    page.keyboard.type("81.5")
    page.keyboard.press("Enter")  # goes down, to the next vessel
    page.keyboard.type("83")
    says(page, "1 run understood, nothing rejected")
    tab_to(page, "Record these results", at_most=200)
    page.keyboard.press("Enter")
    says(page, "Recorded T1")


def test_a_setting_is_stepped_with_the_keyboard(page: Page, laboratory: Wizard) -> None:
    visit(page, laboratory.url, "whatif", laboratory.dossiers[SOIL])
    says(page, "probability")
    tab_to(page, "End pressure, mbar")
    field = page.get_by_label("End pressure, mbar", exact=True)
    before, answer = field.input_value(), text_of(page)
    page.keyboard.press("ArrowUp")
    expect(field).not_to_have_value(before, timeout=PATIENCE_MS)
    expect(page.get_by_test_id("stMain")).not_to_have_text(answer, timeout=PATIENCE_MS)
    assert float(field.input_value()) > float(before)
