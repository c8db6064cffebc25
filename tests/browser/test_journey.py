"""The whole way of one job, from the list of dossiers to the report in hand."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from experiments import example_dossiers, service
from experiments.bootstrap import local_user
from experiments.storage.memory import MemoryStore
from tests.browser.conftest import SOIL
from tests.browser.reading import asked, button, press, says, settled, turn_to
from tests.browser.running import running

pytestmark = [pytest.mark.browser, pytest.mark.slow]

RUN_TIME, FIRST, SECOND = 2, 4, 5
"""Columns of the grid: run time, and the recoveries of the first two analytes."""


def enter_grid(page: Page) -> None:
    """Click into the first cell of the grid of results, once it stands still."""
    grid = page.get_by_test_id("stDataFrame").first
    box, last = grid.bounding_box(), None
    while box is None or box != last:
        page.wait_for_timeout(200)
        box, last = grid.bounding_box(), box
    page.mouse.click(box["x"] + 20, box["y"] + 35 + 17)


def type_into_row(page: Page, values: dict[int, str]) -> None:
    """Type values into columns of the first row, as a person does who looks at the cell.

    On a busy machine the grid may not listen yet when the first key comes; what did not
    arrive is then typed again.
    """
    for column, text in values.items():
        for attempt in range(3):
            enter_grid(page)
            for _ in range(column):
                page.keyboard.press("ArrowRight")
            page.keyboard.type(text, delay=80)
            page.wait_for_timeout(80)
            page.keyboard.press("Tab")
            try:
                expect(cell(page, column)).to_have_text(text, timeout=5000)
                break
            except AssertionError:
                if attempt == 2:
                    raise
    settled(page)


def cell(page: Page, column: int) -> Locator:
    """A cell of the first row as a screen reader finds it."""
    return page.get_by_test_id(f"glide-cell-{column}-0").first


def typed(page: Page) -> list[str]:
    """What stands in the three cells."""
    return [cell(page, column).inner_text() for column in (RUN_TIME, FIRST, SECOND)]


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
        run, most = trials_of_the_example()
        says(page, f"Of {most} trials {run} are run, 0 wait")
        page.get_by_label("How many more").fill("1")
        page.keyboard.press("Tab")
        settled(page)
        press(page, "Propose trials")
        says(page, f"Run T{run + 1} next; the reason stands below. "
                   f"Of {most} trials {run} are run, 1 waits")
        says(page, "Expected run time")

        turn_to(page, "results")
        results_survive_a_refresh_and_are_recorded(page, f"T{run + 1}")

        turn_to(page, "learn")
        says(page, "In plain words")
        turn_to(page, "recommend")
        says(page, "What it promises")
        turn_to(page, "verify")
        press(page, "Fix this plan")
        says(page, "Not enough runs yet.")
        turn_to(page, "report")
        the_report_can_be_taken_away(page, f"T{run + 1}")
        assert "Traceback" not in wizard.words()


def trials_of_the_example() -> tuple[int, int]:
    """How many trials the first example holds, and how many its job allows."""
    store = MemoryStore()
    dossier_id = example_dossiers.load(store, SOIL, local_user())
    dossier = service.load(service.Session(store, local_user()), dossier_id)
    return len(dossier.recorded), dossier.job.limits.trials


def results_survive_a_refresh_and_are_recorded(page: Page, trial: str) -> None:
    type_into_row(page, {RUN_TIME: "27,5", FIRST: "81,5", SECOND: "93.1"})
    says(page, "Use one decimal sign throughout.")
    type_into_row(page, {SECOND: "93,1"})
    assert typed(page) == ["27,5", "81,5", "93,1"]
    says(page, "1 run understood, nothing rejected")
    page.reload()
    asked(page, "results")
    says(page, "1 run understood, nothing rejected")
    assert typed(page) == ["27,5", "81,5", "93,1"]
    press(page, "Record these results")
    says(page, f"Recorded {trial}")
    says(page, "No proposed trial waits for a result")


def the_report_can_be_taken_away(page: Page, trial: str) -> None:
    press(page, "Write the PDF")
    with page.expect_download() as waiting:
        button(page, "Download the PDF").click()
    path = waiting.value.path()
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(path.read_bytes())).pages)
    assert "Soil extracts" in text
    assert trial in text
