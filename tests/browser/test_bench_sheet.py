"""The bench sheet goes out and comes back: filled well, filled badly, or not a sheet at all."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Page

from tests.browser.reading import button, no_fault, press, says, turn_to, upload, visit
from tests.browser.running import begun, running

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def downloaded(page: Page, label: str, folder: Path) -> Path:
    with page.expect_download() as waiting:
        button(page, label).click()
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def filled(sheet: Path, to: Path, recovery: object) -> Path:
    """The sheet as it comes back, every vessel with that recovery."""
    book = openpyxl.load_workbook(sheet)
    page = next(s for s in book.worksheets if _header(s))
    header = _header(page)
    assert header
    row, names = header
    for cells in page.iter_rows(min_row=row + 1):
        if not cells[names["trial"]].value or cells[names["remark"]].value == "blank":
            continue
        cells[names["run_time_min"]].value = 24.5
        for name, place in names.items():
            if name.startswith("recovery_percent:"):
                cells[place].value = recovery
    book.save(to)
    return to


def _header(sheet) -> tuple[int, dict[str, int]] | None:
    for cells in sheet.iter_rows(max_row=40):
        names = {str(c.value): i for i, c in enumerate(cells) if c.value}
        if {"trial", "run_time_min"} <= set(names):
            return cells[0].row, names
    return None


def test_the_bench_sheet_goes_out_and_comes_back(page: Page, tmp_path: Path) -> None:
    with running(tmp_path) as wizard:
        visit(page, wizard.url, "trials", begun(wizard))
        says(page, "Run T1 next")
        assert downloaded(page, "To print (PDF)", tmp_path).read_bytes().startswith(b"%PDF")
        assert "run_time_min" in downloaded(page, "To fill in (CSV)", tmp_path).read_text("utf-8")
        sheet = downloaded(page, "To fill in (XLSX)", tmp_path)

        turn_to(page, "results")
        page.get_by_role("radio", name="Give the filled sheet").click()
        give(page, filled(sheet, tmp_path / "bad.xlsx", "lost"))
        says(page, "Nothing can be recorded")
        says(page, "'lost'")
        assert button(page, "Record these results").count() == 0

        scrap = tmp_path / "scrap.xlsx"
        scrap.write_bytes(b"\x00\x01 not a workbook")
        give(page, scrap)
        says(page, "Nothing can be recorded")

        give(page, filled(sheet, tmp_path / "good.xlsx", 91.5))
        says(page, "1 run understood, nothing rejected")
        press(page, "Record these results")
        says(page, "Recorded T1")
        no_fault(page)


def give(page: Page, path: Path) -> None:
    upload(page, "The filled bench sheet", path)
