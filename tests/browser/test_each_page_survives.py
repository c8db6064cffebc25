"""In the middle of each page: a refresh, back again, a second tab, a new start of the server."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from experiments import service
from experiments.bootstrap import local_user, open_store
from tests.browser.conftest import SOIL
from tests.browser.reading import (
    asked,
    fill,
    says,
    settled,
    turn_to,
    visit,
)
from tests.browser.running import Wizard, running
from wizard import navigation

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@dataclass(frozen=True)
class Middle:
    """How a page is brought into the middle of its work, and what must then still stand there."""

    begin: Callable[[Page], None]
    stands: Callable[[Page], None]


def typed(label: str, value: str) -> Middle:
    """A line of text under that label."""
    def stands(page: Page) -> None:
        expect(page.get_by_role("textbox", name=label, exact=True)).to_have_value(value)

    return Middle(lambda page: fill(page, label, value), stands)


def stepped(label: str, value: str) -> Middle:
    """A number under that label."""
    def begin(page: Page) -> None:
        field = page.get_by_label(label, exact=True)
        field.fill(value)
        field.press("Tab")
        settled(page)

    return Middle(begin, lambda page: expect(page.get_by_label(label, exact=True)).to_have_value(
        value))


def read(words: str) -> Middle:
    """A page that is only read: it says the same as before."""
    return Middle(lambda page: says(page, words), lambda page: says(page, words))


def begin_results(page: Page) -> None:
    page.locator('[data-cell="0-4"]').click()
    page.keyboard.type("81,5")
    page.keyboard.press("Tab")
    says(page, "Before anything is recorded")


MIDDLES = {
    "dossiers": read("Soil extracts"),
    "window": stepped("Set temperature, °C", "47"),
    "trials": read("Expected run time"),
    "results": Middle(begin_results, lambda page: expect(
        page.locator('[data-cell="0-4"]')).to_have_value("81,5")),
    "learn": read("In plain words"),
    "recommend": read("What it promises"),
    "report": typed("Why", "for the files"),
    "whatif": stepped("End pressure, mbar", "117"),
    "compare": read("difference (95 %)"),
    "library": read("Dossiers in all: 1."),
    "substance": read("dichloromethane · 75-09-2"),
}
NOT_HERE = {
    "job": "test_nothing_is_lost and test_new_job: the form of a job, field by field",
    "verify": "test_second_example: rows pasted into a plan that is fixed",
}


def test_every_page_is_covered():
    assert {*MIDDLES, *NOT_HERE} == {step.key for step in navigation.STEPS}


def prepared(wizard: Wizard) -> str:
    """The first example with one trial that waits for its run."""
    store = open_store(str(wizard.store))
    try:
        service.propose(service.Session(store, local_user()), wizard.dossiers[SOIL], 1)
    finally:
        store.close()
    return wizard.dossiers[SOIL]


def test_nothing_is_lost_in_the_middle_of_any_page(browser: Browser, tmp_path: Path) -> None:
    with running(tmp_path, SOIL) as wizard:
        dossier = prepared(wizard)
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        page = context.new_page()
        for key, middle in MIDDLES.items():
            visit(page, wizard.url, key, dossier)
            middle.begin(page)
            page.reload()
            asked(page, key)
            middle.stands(page)
            turn_to(page, "job" if key == "substance" else "substance")
            page.go_back()
            asked(page, key)
            middle.stands(page)
        for key, middle in MIDDLES.items():
            second = context.new_page()
            visit(second, wizard.url, key, dossier)
            middle.stands(second)
            second.close()
        wizard.stop()
        wizard.start()
        for key, middle in MIDDLES.items():
            visit(page, wizard.url, key, dossier)
            middle.stands(page)
        context.close()
