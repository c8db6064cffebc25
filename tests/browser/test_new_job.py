"""A job of one's own, from an empty store, with an analyte no library knows."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.reading import asked, button, choose, fill, press, says, visit
from tests.browser.running import Wizard

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_a_job_with_a_new_analyte_becomes_a_dossier(page: Page, empty: Wizard) -> None:
    visit(page, empty.url, "dossiers")
    press(page, "Write a new job")
    asked(page, "job")
    start = button(page, "Start the dossier")
    expect(start).to_be_disabled()
    fill(page, "Title of the job", "Extract of peat")
    choose(page, "Usual solvents", "Ethyl acetate")
    fill(page, "Fill of each vessel, mL", "20,5")
    fill(page, "A new analyte, not in the library", "RX-4")
    press(page, "Add it")
    choose(page, "Start from an evaporator", "24 vials of 40 mL", typed="24 vials")
    says(page, "RX-4")
    page.get_by_text("Spike, CAS number, or what the data sheet gives").click()
    fill(page, "Molar mass, g/mol", "150 g")
    says(page, "is not a number")
    expect(start).to_be_disabled()
    fill(page, "Molar mass, g/mol", "150.2")
    fill(page, "… is, Pa", "65")
    fill(page, "Vapour pressure known at, °C", "25")
    says(page, "The job is complete.")
    page.reload()
    asked(page, "job")
    says(page, "The job is complete.")
    press(page, "Start the dossier")
    asked(page, "window")
    says(page, "Extract of peat")
    says(page, "A run at one setting")


def test_in_a_narrow_window_the_start_stands_below_the_form(page: Page, empty: Wizard) -> None:
    visit(page, empty.url, "dossiers")
    press(page, "Write a new job")
    asked(page, "job")
    seed, start = page.get_by_role("textbox", name="Seed"), button(page, "Start the dossier")
    for width, is_below in ((1280, False), (800, True)):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(400)
        places = seed.bounding_box(), start.bounding_box()
        assert places[0] is not None
        assert places[1] is not None
        assert (places[1]["y"] > places[0]["y"]) is is_below
