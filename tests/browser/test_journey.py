"""The whole way of one job, from the list of dossiers to the report in hand."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.reading import asked, button, press, says, settled, turn_to
from tests.browser.running import running

pytestmark = [pytest.mark.browser, pytest.mark.slow]

RUN_TIME, FIRST, SECOND = 2, 4, 5
"""Columns of the grid: run time, and the recoveries of the first two analytes."""


def type_into_grid(page: Page, column: int, text: str) -> None:
    """Type into the first row of the grid of results, then leave the cell."""
    grid = page.get_by_test_id("stDataFrame").first
    box = grid.bounding_box()
    assert box
    page.mouse.click(box["x"] + 20, box["y"] + 35 + 17)
    for _ in range(column):
        page.keyboard.press("ArrowRight")
    page.keyboard.type(text, delay=15)
    page.keyboard.press("Enter")
    settled(page)


def cell(page: Page, row: int, column: int) -> str:
    """What a cell of the grid tells a screen reader."""
    return page.locator(f"[data-testid='glide-cell-{column}-{row}']").first.inner_text()


def test_an_example_from_the_list_to_the_report(page: Page, tmp_path: Path) -> None:
    with running(tmp_path) as wizard:
        page.goto(wizard.url)
        asked(page, "dossiers")
        says(page, "Nothing is here yet")
        button(page, "Open this example").first.click()
        asked(page, "window")
        says(page, "boiling")
        expect(page.locator("canvas, svg.marks").first).to_be_visible()

        turn_to(page, "job")
        says(page, "dichloromethane")

        turn_to(page, "trials")
        says(page, "9 run, 0 to be run, 3 left of 12")
        page.get_by_label("How many more").fill("1")
        page.keyboard.press("Tab")
        settled(page)
        press(page, "Propose trials")
        says(page, "9 run, 1 to be run, 2 left of 12")
        says(page, "Expected run time")

        turn_to(page, "results")
        results_survive_a_refresh_and_are_recorded(page)

        turn_to(page, "learn")
        says(page, "In plain words")
        turn_to(page, "recommend")
        says(page, "What it promises")
        turn_to(page, "verify")
        press(page, "Fix this plan")
        says(page, "Not enough runs yet.")
        turn_to(page, "report")
        the_report_can_be_taken_away(page)
        assert "Traceback" not in wizard.words()


def results_survive_a_refresh_and_are_recorded(page: Page) -> None:
    type_into_grid(page, RUN_TIME, "27,5")
    type_into_grid(page, FIRST, "<5")
    type_into_grid(page, SECOND, "93.1")
    says(page, "Use one decimal sign throughout.")
    type_into_grid(page, SECOND, "93,1")
    says(page, "1 run understood, nothing rejected")
    page.reload()
    asked(page, "results")
    says(page, "1 run understood, nothing rejected")
    assert [cell(page, 0, c) for c in (RUN_TIME, FIRST, SECOND)] == ["27,5", "<5", "93,1"]
    press(page, "Record these results")
    says(page, "Recorded T10")
    says(page, "No proposed trial waits for a result")


def the_report_can_be_taken_away(page: Page) -> None:
    press(page, "Write the PDF")
    with page.expect_download() as waiting:
        button(page, "Download the PDF").click()
    path = waiting.value.path()
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(path.read_bytes())).pages)
    assert "Soil extracts" in text
    assert "T10" in text
