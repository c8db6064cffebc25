"""Reading and using a page of the wizard as a person does: by what it says."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Page, expect

from wizard import navigation

PATIENCE_MS = 600_000
"""A fit takes seconds on a free machine and minutes on one that does other work."""
SETTLED = """() => {
  const app = document.querySelector('[data-test-script-state]');
  if (!app || app.getAttribute('data-test-script-state') !== 'notRunning') return false;
  if (app.getAttribute('data-test-connection-state') !== 'CONNECTED') return false;
  if (document.querySelector('[data-stale="true"]')) return false;
  return !!document.querySelector('[data-testid="stMain"] h1');
}"""
FAULTS = ("stException", "stAlertContentError")


def settled(page: Page) -> None:
    """Wait until the page has been drawn to its end."""
    page.wait_for_timeout(150)
    page.wait_for_function(SETTLED, timeout=PATIENCE_MS)
    page.wait_for_timeout(150)
    page.wait_for_function(SETTLED, timeout=PATIENCE_MS)


def visit(page: Page, url: str, key: str, dossier_id: str | None = None) -> None:
    """Open a page of the wizard by its address."""
    path = "" if key == navigation.HOME else key
    query = f"?dossier={dossier_id}" if dossier_id else ""
    page.goto(f"{url}/{path}{query}")
    asked(page, key)


def turn_to(page: Page, key: str) -> None:
    """Turn to a page through the menu."""
    menu_link(page, key).click()
    asked(page, key)


def menu_link(page: Page, key: str):
    """The link of the menu to a page; its name begins with that of the sign before it."""
    ends = re.compile(rf"(^|\s|_|\b){re.escape(navigation.step(key).title)}$")
    return page.locator(".st-key-menu").get_by_role("link", name=ends)


def asked(page: Page, key: str) -> None:
    """The page with the question of that step is there, whole and without a fault."""
    expect(page.get_by_role("heading", level=1)).to_have_text(
        navigation.step(key).question, timeout=PATIENCE_MS)
    settled(page)
    no_fault(page)


def no_fault(page: Page) -> None:
    """Nothing on the page says that something went wrong."""
    for kind in FAULTS:
        found = page.get_by_test_id(kind)
        assert found.count() == 0, f"{page.url} says: {found.first.inner_text()}"


def press(page: Page, label: str) -> None:
    """Press a button and wait for what it does."""
    button(page, label).click()
    settled(page)


def button(page: Page, label: str):
    """A button by the words on it."""
    return page.get_by_test_id("stMain").get_by_role("button", name=label, exact=True)


def says(page: Page, words: str) -> None:
    """Wait until the content of the page says these words."""
    expect(page.get_by_test_id("stMain")).to_contain_text(words, timeout=PATIENCE_MS)
    settled(page)
    no_fault(page)


def text_of(page: Page) -> str:
    """Everything the content of the page says."""
    return page.get_by_test_id("stMain").inner_text()


def recommended_minutes(page: Page) -> str:
    """The recommended run time; numbers are drawn a moment after the words around them."""
    metric = page.get_by_test_id("stMetric").filter(has_text="Run time")
    minutes = metric.get_by_text(re.compile(r"^\d+ min$"))
    expect(minutes).to_be_visible(timeout=PATIENCE_MS)
    return minutes.inner_text().removesuffix(" min")


def upload(page: Page, label: str, path: Path) -> None:
    """Give a file to the field with that in its label."""
    field = page.get_by_test_id("stFileUploader").filter(has_text=label)
    field.locator("input[type=file]").set_input_files(path)


def fill(page: Page, label: str, value: str) -> None:
    """Type into a field and leave it, as the tab key does."""
    field = page.get_by_role("textbox", name=label, exact=True)
    field.fill(value)
    field.press("Tab")
    settled(page)


def choose(page: Page, label: str, option: str, typed: str | None = None) -> None:
    """Choose in a list, typing to search where there are many."""
    field = page.get_by_role("combobox", name=label)
    field.click()
    field.fill(typed or option)
    page.get_by_role("option", name=option).first.click()
    settled(page)
