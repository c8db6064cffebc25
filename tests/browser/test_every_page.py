"""What holds for every page: it fits a narrow window, and everybody can use it."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.reading import menu_link, settled, text_of, turn_to, visit
from tests.browser.running import Wizard
from tests.browser.states import every_page

pytestmark = [pytest.mark.browser, pytest.mark.slow]

AXE = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
WIDE: Any = {"width": 1280, "height": 900}
NARROW: Any = {"width": 400, "height": 800}
WIDE_ELEMENTS = """() => {
  const main = document.querySelector('[data-testid="stMain"]');
  const width = document.documentElement.clientWidth;
  const scrolls = (e) => {
    for (let p = e.parentElement; p && p !== main; p = p.parentElement) {
      const flow = getComputedStyle(p).overflowX;
      if (['auto', 'scroll', 'hidden', 'clip'].includes(flow)) return true;
    }
    return false;
  };
  const out = [...main.querySelectorAll('*')].filter((e) => {
    const box = e.getBoundingClientRect();
    return box.width > 1 && box.height > 1 && box.right > width + 1 && !scrolls(e);
  });
  const page = Math.max(main.scrollWidth - main.clientWidth,
                        document.documentElement.scrollWidth - width);
  return {page, out: out.slice(0, 5).map((e) => (e.dataset.testid || e.tagName) + ': '
    + (e.textContent || '').trim().slice(0, 60))};
}"""


def test_the_menu_of_a_narrow_window_makes_room(browser: Browser, empty: Wizard) -> None:
    context = browser.new_context(viewport=NARROW)
    page = context.new_page()
    visit(page, empty.url, "job")
    page.get_by_test_id("stExpandSidebarButton").click()
    expect(menu_link(page, "trials")).to_be_in_viewport()
    turn_to(page, "trials")
    expect(menu_link(page, "trials")).not_to_be_in_viewport()
    context.close()


def test_no_page_shuts_anybody_out_of_a_wide_window(browser: Browser, laboratory: Wizard) -> None:
    faults = [f"{name}: {line}" for name, page in walked(browser, laboratory, "light")
              for line in accessibility_faults(page)]
    assert not faults, "\n".join(faults)


def test_no_page_shuts_anybody_out_of_a_narrow_dark_one(
    browser: Browser, laboratory: Wizard,
) -> None:
    """Nor is one wider than the window; it is made narrow for a while on the way."""
    faults = []
    for name, page in walked(browser, laboratory, "dark"):
        page.set_viewport_size(NARROW)
        settled(page)
        faults += [f"{name}: {line}" for line in too_wide(page) + accessibility_faults(page)]
        page.set_viewport_size(WIDE)
        settled(page)
    assert not faults, "\n".join(faults)


def walked(browser: Browser, laboratory: Wizard, scheme: Any) -> Iterator[tuple[str, Page]]:
    """Every page in all its states in a wide window, light or dark."""
    context = browser.new_context(viewport=WIDE, color_scheme=scheme)
    page = context.new_page()
    for name in every_page(page, laboratory):
        assert len(text_of(page)) > 60
        yield name, page
    context.close()


def too_wide(page: Page) -> list[str]:
    """What sticks out of the window."""
    found = page.evaluate(WIDE_ELEMENTS)
    return [*[f"wider than the window by {found['page']} px"] * (found["page"] > 1),
            *found["out"]]


def accessibility_faults(page: Page) -> list[str]:
    """Serious and critical findings, each with the first element it is about."""
    page.evaluate(AXE)
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "nothing was examined"
    return [
        f"{v['impact']} {v['id']}: {v['help']}; {len(v['nodes'])} × {n['html'][:160]} "
        f"({n['failureSummary'][:200]})"
        for v in found["violations"] if v["impact"] in ("serious", "critical")
        for n in v["nodes"][:1]
    ]
