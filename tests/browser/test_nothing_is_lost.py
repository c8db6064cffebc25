"""The back button, a second tab and a stopped server lose nothing of what was typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import KEEPER
from tests.browser.reading import (
    PATIENCE_MS,
    asked,
    button,
    fill,
    menu_link,
    press,
    says,
    turn_to,
    visit,
)
from tests.browser.running import Wizard, running

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PASTED = ("trial;set_temperature_c;ramp_rate_mbar_per_min;end_pressure_mbar;run_time_min;"
          "recovery_percent:QX-17\n;50;40;60;26,5;91,2")

ROWS = "Rows copied from a spreadsheet, with their header"


def test_back_second_tab_and_restart_keep_the_work(page: Page, tmp_path: Path) -> None:
    with running(tmp_path, KEEPER) as wizard:
        dossier = wizard.dossiers[KEEPER]
        visit(page, wizard.url, "dossiers")
        press(page, "Write a new job")
        asked(page, "job")
        fill(page, "Title of the job", "Extract of peat")
        turn_to(page, "dossiers")
        says(page, "Extract of peat")
        page.go_back()
        asked(page, "job")
        title = page.get_by_role("textbox", name="Title of the job", exact=True)
        expect(title).to_have_value("Extract of peat")

        visit(page, wizard.url, "results", dossier)
        rows = page.get_by_role("textbox", name=ROWS)
        rows.fill(PASTED)
        rows.press("Control+Enter")
        says(page, "1 run understood, nothing rejected")

        second = page.context.new_page()
        second.goto(page.url)
        asked(second, "results")
        expect(second.get_by_role("textbox", name=ROWS)).to_have_value(PASTED)
        second.close()

        wizard.stop()
        wizard.start()
        page.reload()
        asked(page, "results")
        expect(rows).to_have_value(PASTED)
        press(page, "Record these results")
        says(page, "Recorded T")


def test_a_link_opened_in_a_second_tab_knows_the_dossier(
    browser: Browser, laboratory: Wizard
) -> None:
    context = browser.new_context()
    page = context.new_page()
    visit(page, laboratory.url, "results", laboratory.dossiers[KEEPER])
    second = context.new_page()
    second.goto(f"{laboratory.url}/{menu_link(page, 'trials').get_attribute('href')}")
    asked(second, "trials")
    says(second, "QX-17")
    context.close()


def test_two_tabs_that_save_at_once_lose_nothing(browser: Browser, tmp_path: Path) -> None:
    with running(tmp_path, KEEPER) as wizard:
        context = browser.new_context()
        tabs = [context.new_page(), context.new_page()]
        for tab in tabs:
            visit(tab, wizard.url, "report", wizard.dossiers[KEEPER])
        first, second = tabs
        for tab, why in ((first, "no longer needed"), (second, "too late")):
            tab.get_by_role("textbox", name="Why").fill(why)
        for tab in tabs:
            button(tab, "Retire the method").click()
        first.get_by_role("button", name="Retire it for good").click()
        says(first, "retired")
        second.get_by_role("button", name="Retire it for good").click()
        expect(second.get_by_test_id("stMain")).to_contain_text("retired", timeout=PATIENCE_MS)
        context.close()
