"""In the middle of each page: a refresh, back again, a second tab, a new start of the server."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from experiments import drafts, service
from experiments.users import User
from tests.browser.conftest import SOIL
from tests.browser.reading import (
    PATIENCE_MS,
    asked,
    choose,
    fill,
    press,
    says,
    settled,
    turn_to,
    visit,
)
from tests.browser.running import Wizard, running, session_of
from wizard import navigation

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@dataclass(frozen=True)
class Middle:
    """How a page is brought into the middle of its work, and what must then still stand there.

    ``kept`` is what was typed; the page is left once the program has it. ``start`` is the page
    from which it is begun, where that is another one.
    """

    begin: Callable[[Page], None]
    stands: Callable[[Page], None]
    kept: str = ""
    start: str = ""


def typed(label: str, value: str) -> Middle:
    """A line of text under that label."""
    def stands(page: Page) -> None:
        expect(page.get_by_role("textbox", name=label, exact=True)).to_have_value(
            value, timeout=PATIENCE_MS)

    return Middle(lambda page: fill(page, label, value), stands, value)


def stepped(label: str, value: str) -> Middle:
    """A number under that label."""
    def begin(page: Page) -> None:
        field = page.get_by_label(label, exact=True)
        field.fill(value)
        field.press("Tab")
        settled(page)

    def stands(page: Page) -> None:
        expect(page.get_by_label(label, exact=True)).to_have_value(value, timeout=PATIENCE_MS)

    return Middle(begin, stands, value)


def read(words: str) -> Middle:
    """A page that is only read: it says the same as before."""
    return Middle(lambda page: says(page, words), lambda page: says(page, words))


def begin_results(page: Page) -> None:
    page.locator('[data-cell="0-4"]').click()
    page.keyboard.type("81,5")
    page.keyboard.press("Tab")
    says(page, "Before anything is recorded")


def results_stand(page: Page) -> None:
    expect(page.locator('[data-cell="0-4"]')).to_have_value("81,5", timeout=PATIENCE_MS)


def begin_job(page: Page) -> None:
    press(page, "Write a new job")
    asked(page, "job")
    fill(page, TITLE, "Extract of peat")


def begin_criteria(page: Page) -> None:
    choose(page, "Criteria", "AOAC Official Methods, Appendix F")
    fill(page, LEVEL, "53")


TITLE, LEVEL = "Title of the job", "Level of the analytes in the sample, µg/kg"
MIDDLES = {
    "dossiers": read("Soil extracts"),
    "job": replace(typed(TITLE, "Extract of peat"), begin=begin_job, start="dossiers"),
    "window": stepped("Set temperature, °C", "47"),
    "trials": read("Expected run time"),
    "results": Middle(begin_results, results_stand, "81,5"),
    "learn": read("In plain words"),
    "recommend": read("What it promises"),
    "verify": replace(typed(LEVEL, "53"), begin=begin_criteria),
    "report": typed("Why", "for the files"),
    "whatif": stepped("End pressure, mbar", "117"),
    "transfer": typed("Fill of each vessel, mL", "27.5"),
    "compare": read("difference (95 %)"),
    "library": read("Dossiers in all: 1."),
    "substance": read("dichloromethane · 75-09-2"),
}


def test_every_page_is_covered():
    assert set(MIDDLES) == {step.key for step in navigation.STEPS}


def prepared(wizard: Wizard) -> str:
    """The first example with one trial that waits for its run."""
    with session_of(wizard) as session:
        service.propose(session, wizard.dossiers[SOIL], 1)
    return wizard.dossiers[SOIL]


def wait_until_kept(wizard: Wizard, text: str) -> None:
    """Wait until what the reader typed is in the store."""
    with session_of(wizard, User(wizard.settings["BOILWRIGHT_USER"])) as reader:
        end = time.monotonic() + PATIENCE_MS / 1000
        while not any(text in str(draft.content) for draft in drafts.drafts(reader)):
            assert time.monotonic() < end, f"{text!r} was typed and is not kept"
            time.sleep(0.1)


def still_there(page: Page, key: str, address: str) -> None:
    """The page at that address is as it was left."""
    page.goto(address)
    asked(page, key)
    MIDDLES[key].stands(page)


def test_nothing_is_lost_in_the_middle_of_any_page(page: Page, tmp_path: Path) -> None:
    with running(tmp_path, SOIL) as wizard:
        dossier = prepared(wizard)
        addresses = {}
        for key, middle in MIDDLES.items():
            visit(page, wizard.url, middle.start or key, dossier)
            middle.begin(page)
            addresses[key] = page.url
            if middle.kept:
                wait_until_kept(wizard, middle.kept)
            page.reload()
            asked(page, key)
            middle.stands(page)
            turn_to(page, "substance" if key == "dossiers" else "dossiers")
            page.go_back()
            asked(page, key)
            middle.stands(page)
        second = page.context.new_page()
        for key, address in addresses.items():
            still_there(second, key, address)
        second.close()
        wizard.stop()
        wizard.start()
        for key, address in addresses.items():
            still_there(page, key, address)
        assert "Traceback" not in wizard.words()
