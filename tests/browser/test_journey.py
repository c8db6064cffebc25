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
"""Columns of the table: run time, and the recoveries of the first two analytes."""


def type_into_row(page: Page, values: dict[int, str]) -> None:
    """Type values into columns of the first row, as fast as keys can follow each other."""
    for column, text in values.items():
        cell(page, column).click()
        page.keyboard.press("Control+a")
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    settled(page)


def cell(page: Page, column: int) -> Locator:
    """A field of the first row."""
    return page.locator(f'[data-cell="0-{column}"]')


def typed(page: Page) -> list[str]:
    """What stands in the three cells."""
    return [cell(page, column).input_value() for column in (RUN_TIME, FIRST, SECOND)]


def test_an_example_from_the_list_to_the_report(page: Page, tmp_path: Path) -> None:
    with running(tmp_path) as wizard:
        page.goto(wizard.url)
        asked(page, "dossiers")
        says(page, "No dossier is here yet")
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
