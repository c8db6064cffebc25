"""One wizard with both examples for all tests of a worker, and windows of the browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.running import Wizard, running

expect.set_options(timeout=60_000)
KEPT = Path(__file__).parents[2] / "test-results"
SOIL, KEEPER = "semivolatiles_to_dryness", "new_analyte_with_keeper"


@pytest.fixture(scope="session")
def laboratory(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Wizard]:
    """Both examples, shared by the tests that leave them as they are."""
    with running(tmp_path_factory.mktemp("laboratory"), SOIL, KEEPER) as found:
        yield found


@pytest.fixture
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A new window; its console must be free of faults of scripts."""
    context = browser.new_context(viewport={"width": 1280, "height": 900},
                                  accept_downloads=True)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    yield opened
    _keep_picture(opened, request)
    context.close()
    assert not faults


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Let fixtures know how their test went."""
    report = yield
    setattr(item, f"report_{report.when}", report)
    return report


def _keep_picture(page: Page, request: pytest.FixtureRequest) -> None:
    """What the browser showed when a test failed."""
    if request.node.report_call.failed:
        KEPT.mkdir(exist_ok=True)
        page.screenshot(path=KEPT / f"{request.node.name}.png")


@pytest.fixture(autouse=True)
def every_test_here_drives_a_browser(request: pytest.FixtureRequest) -> None:
    marks = {m.name for m in request.node.iter_markers()}
    assert "browser" in marks, "mark it: pytestmark = pytest.mark.browser"


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Wizard]:
    """A wizard on a store in which nothing is yet."""
    with running(tmp_path) as found:
        yield found
