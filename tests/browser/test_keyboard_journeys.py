"""Two whole ways without a mouse: from an empty store to results, from an example to a signed-off
report."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from openpyxl import load_workbook
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.keyboard import choose_by_key, press_by_key, tab_to, type_into
from tests.browser.reading import PATIENCE_MS, asked, recommended_minutes, says, text_of
from tests.browser.running import Wizard, running
from tests.browser.verification_rows import verification_table

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_an_own_job_is_written_and_its_first_run_recorded(page: Page, empty: Wizard) -> None:
    page.goto(empty.url)
    asked(page, "dossiers")
    press_by_key(page, "Write a new job")
    asked(page, "job")
    a_job_is_written(page)
    press_by_key(page, "Start the dossier")
    asked(page, "window")
    says(page, "Extract of peat")
    type_into(page, "Set temperature, °C", "44")
    expect(page.get_by_label("Set temperature, °C", exact=True)).to_have_value("44")
    says(page, "The run ends after")
    turn_by_key(page, "Trials", "trials")
    press_by_key(page, "Propose trials")
    says(page, "Expected run time")
    a_sheet_is_taken_along(page)
    turn_by_key(page, "Results", "results")
    for field, value in (("run time, min", "27,5"), ("RX-4, %", "91,5")):
        type_into(page, f"trial T1, vessel 1, {field}", value)
    says(page, "1 run understood, nothing rejected")
    press_by_key(page, "Record these results")
    says(page, "Recorded T1")
    turn_by_key(page, "Learn", "learn")
    says(page, "In plain words")


def a_job_is_written(page: Page) -> None:
    type_into(page, "Title of the job", "Extract of peat")
    choose_by_key(page, "Usual solvents", "Ethyl acetate")
    choose_by_key(page, "Start from an evaporator", "24 vials of 40 mL")
    type_into(page, "Fill of each vessel, mL", "20,5")
    type_into(page, "A new analyte, not in the library", "RX-4")
    press_by_key(page, "Add it")
    says(page, "RX-4")
    press_by_key(page, "Spike, CAS number, or what the data sheet gives")
    type_into(page, "Molar mass, g/mol", "150.2")
    type_into(page, "Vapour pressure known at, °C", "25")
    type_into(page, "… is, Pa", "65")
    says(page, "The job is complete.")


def a_sheet_is_taken_along(page: Page) -> None:
    tab_to(page, "To fill in (XLSX)")
    with page.expect_download() as waiting:
        page.keyboard.press("Enter")
    book = load_workbook(io.BytesIO(waiting.value.path().read_bytes()))
    assert any("T1" in str(cell.value) for sheet in book for row in sheet for cell in row)


def test_an_example_is_brought_to_a_report(page: Page, tmp_path: Path) -> None:
    with running(tmp_path) as wizard:
        page.goto(wizard.url)
        asked(page, "dossiers")
        tab_to(page, "Open this example")
        press_by_key(page, "Open this example")  # the second of them
        asked(page, "window")
        press_by_key(page, "End the tour")
        expect(page.get_by_test_id("stMain")).not_to_contain_text("Tour, stop")
        for title in ("Job", "Learn"):
            turn_by_key(page, title, title.lower())
        tab_to(page, "Recommend")
        page.keyboard.press("Enter")  # read as soon as it is there, as a person does
        expect(page.get_by_test_id("stMain")).to_contain_text(
            "Every target met", timeout=PATIENCE_MS)
        run_time = recommended_minutes(page)
        turn_by_key(page, "Verify", "verify")
        it_is_verified(page, run_time, tmp_path / "runs.csv")
        turn_by_key(page, "Report", "report")
        says(page, "Version 1, verified")
        the_report_is_taken_along(page)
        assert "Traceback" not in wizard.words()


def it_is_verified(page: Page, run_time: str, runs: Path) -> None:
    count = re.search(r"(\d+) runs on at least (\d+) days", text_of(page))
    assert count is not None
    runs.write_text(verification_table(int(count[1]), int(count[2]), run_time), "utf-8")
    press_by_key(page, "Fix this plan")
    says(page, "Not enough runs yet.")
    with page.expect_file_chooser() as waiting:  # listened for before the key goes down
        tab_to(page, "Upload")
        page.keyboard.press("Enter")
    waiting.value.set_files(runs)
    says(page, f"{count[1]} runs understood, nothing rejected")
    press_by_key(page, "Record these runs")
    says(page, "Passed.")
    press_by_key(page, "Mark the method as verified")
    says(page, "The method is marked as verified")


def the_report_is_taken_along(page: Page) -> None:
    press_by_key(page, "Write the PDF")
    tab_to(page, "Download the PDF")
    with page.expect_download() as waiting:
        page.keyboard.press("Enter")
    text = "".join(p.extract_text()
                   for p in PdfReader(io.BytesIO(waiting.value.path().read_bytes())).pages)
    assert "QX-17" in text


def turn_by_key(page: Page, title: str, key: str) -> None:
    """Turn to a page through the menu."""
    press_by_key(page, title)
    asked(page, key)
