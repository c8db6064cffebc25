"""Hands on the keyboard only: what has the focus, and getting from one thing to the next."""

from __future__ import annotations

from playwright.sync_api import Page

from tests.browser.reading import settled

FOCUSED = """() => {
  let e = document.activeElement;
  while (e.shadowRoot?.activeElement) e = e.shadowRoot.activeElement;  // the table to type into
  const label = e.getAttribute('aria-label') || (e.labels && e.labels[0]?.innerText);
  return (label || e.innerText || '').trim();
}"""
RING = """() => {
  const s = getComputedStyle(document.activeElement);
  const near = getComputedStyle(document.activeElement.parentElement);
  return s.outlineStyle !== 'none' || s.boxShadow !== 'none' || near.boxShadow !== 'none';
}"""


def tab_to(page: Page, name: str, at_most: int = 400) -> None:
    """Press the tab key until something of that name has the focus.

    The name of a list may begin with what is chosen in it, that of a button with its sign. While
    the wizard cannot be reached, a dialog says so and holds the focus; that is waited for.
    """
    settled(page)
    seen = set()
    for _ in range(at_most):
        page.keyboard.press("Tab")
        now = page.evaluate(FOCUSED)
        last = now.split("\n")[-1]
        if last == name or last.endswith(f". {name}"):
            return
        seen.add(now[-40:])
    raise AssertionError(f"{name!r} is not reached by the tab key; {sorted(seen)} were")


def press_by_key(page: Page, name: str) -> None:
    """Go to a button or a link and press it."""
    tab_to(page, name)
    page.keyboard.press("Enter")
    settled(page)


def type_into(page: Page, name: str, text: str) -> None:
    """Go to a field, put that in the place of what it holds, and leave it."""
    tab_to(page, name)
    page.keyboard.press("Control+a")
    page.keyboard.type(text)
    page.keyboard.press("Tab")
    settled(page)


def choose_by_key(page: Page, name: str, typed: str) -> None:
    """Go to a list, type what is looked for and take the first that fits."""
    tab_to(page, name)
    page.keyboard.type(typed)
    page.get_by_role("option").first.wait_for()
    page.keyboard.press("Enter")
    settled(page)
