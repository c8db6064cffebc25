"""The whole way of the second job: an analyte known from its data sheet, held by a keeper."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.reading import (
    PATIENCE_MS,
    asked,
    button,
    menu_link,
    press,
    recommended_minutes,
    says,
    settled,
    text_of,
    turn_to,
)
from tests.browser.running import running
from tests.browser.verification_rows import verification_table

pytestmark = [pytest.mark.browser, pytest.mark.slow]

VERIFIED = "… or its rows, copied from a spreadsheet with their header"


def test_an_analyte_from_a_data_sheet_is_brought_to_a_verified_method(
    page: Page, tmp_path: Path
) -> None:
    with running(tmp_path) as wizard:
        page.goto(wizard.url)
        asked(page, "dossiers")
        button(page, "Open this example").nth(1).click()
        asked(page, "window")
        the_tour_leads_on(page)
        a_click_on_the_map_chooses_a_run(page)
        turn_to(page, "job")
        says(page, "n-tetradecane as keeper")
        turn_to(page, "learn")
        says(page, "In plain words")
        run_time = recommended_run_time(page)
        turn_to(page, "verify")
        it_is_verified(page, run_time)
        turn_to(page, "report")
        says(page, "Version 1, verified")
        assert "Traceback" not in wizard.words()


def the_tour_leads_on(page: Page) -> None:
    says(page, "Tour, stop 1 of 7")
    page.get_by_role("link", name="Next stop: Trials").click()
    asked(page, "trials")
    says(page, "Tour, stop 2 of 7")
    page.go_back()
    asked(page, "window")
    press(page, "End the tour")
    expect(page.get_by_test_id("stMain")).not_to_contain_text("Tour, stop")


def a_click_on_the_map_chooses_a_run(page: Page) -> None:
    field = page.get_by_label("Set temperature, °C", exact=True)
    before = field.input_value()
    box = page.get_by_test_id("stVegaLiteChart").first.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + 0.8 * box["width"], box["y"] + 0.4 * box["height"])
    expect(field).not_to_have_value(before)
    settled(page)
    assert float(field.input_value()) > float(before)
    says(page, "The run")


def recommended_run_time(page: Page) -> str:
    """Minutes of the recommended setting; read as soon as they are there, as a person does."""
    menu_link(page, "recommend").click()
    content = page.get_by_test_id("stMain")
    expect(content).to_contain_text("Where it lies", timeout=PATIENCE_MS)
    expect(content).to_contain_text("Use this setting")
    return recommended_minutes(page)


def it_is_verified(page: Page, run_time: str) -> None:
    found = re.search(r"(\d+) runs on at least (\d+) days", text_of(page))
    assert found is not None
    runs, days = int(found[1]), int(found[2])
    press(page, "Fix this plan")
    says(page, "Not enough runs yet.")
    rows = page.get_by_role("textbox", name=VERIFIED)
    rows.fill(verification_table(runs, days, run_time))
    rows.press("Control+Enter")
    says(page, f"{runs} runs understood, nothing rejected")
    page.reload()
    asked(page, "verify")
    says(page, f"{runs} runs understood, nothing rejected")
    press(page, "Record these runs")
    says(page, "Passed.")
    press(page, "Mark the method as verified")
