"""Pictures of every page at two widths, light and dark: ``python -m tests.browser.pictures``.

All of them go to build/pictures; the few that the README shows go to examples/pictures.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, expect

from experiments import example_dossiers, service
from tests.browser.conftest import KEEPER
from tests.browser.reading import PATIENCE_MS, fill, says, visit
from tests.browser.running import Wizard, begun, chromium, running, session_of
from tests.browser.states import (
    a_log_is_looked_at,
    a_new_job,
    example,
    judge_robustness,
    verify,
)
from wizard import navigation

ROOT = Path(__file__).parents[2]
EVERYTHING, SHOWN = ROOT / "build" / "pictures", ROOT / "examples" / "pictures"
WIDTHS = {"wide": 1280, "narrow": 420}
SCHEMES = ("light", "dark")
IN_README = {"trials": 690, "learn": 680, "recommend": 730, "whatif": 920}
"""Pages the README shows, wide and light, and how far down."""
TALLEST = 7000


@dataclass(frozen=True)
class Looked:
    """Ids of the dossiers whose pages are taken."""

    soil: str
    keeper: str
    done: str
    begun: str


def main() -> None:
    """Take them all."""
    shutil.rmtree(EVERYTHING, ignore_errors=True)
    SHOWN.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as wizard:
        looked = prepared(wizard)
        with chromium() as browser:
            for scheme in SCHEMES:
                for name, width in WIDTHS.items():
                    into = EVERYTHING / f"{name}-{scheme}"
                    into.mkdir(parents=True)
                    take(browser, wizard, looked, (scheme, width), into)
    for key, height in IN_README.items():
        shutil.copy(EVERYTHING / f"shown-{key}-{height}.png", SHOWN / f"{key}.png")
    taken = len(list(EVERYTHING.rglob("*.png")))
    print(f"{taken} pictures are in {EVERYTHING.relative_to(ROOT)}.")


def prepared(wizard: Wizard) -> Looked:
    """The examples: one with a trial that waits for its run, one as it is and one all done."""
    first, second = (example(wizard, e.key) for e in example_dossiers.names())
    with session_of(wizard) as session:
        service.propose(session, first, 1)
    done = example(wizard, KEEPER)
    judge_robustness(wizard, done)
    verify(wizard, done)
    return Looked(first, second, done, begun(wizard))


def take(browser: Browser, wizard: Wizard, looked: Looked, look: tuple[Any, int], into: Path
         ) -> None:
    """Every page of one look, whole; of the other dossiers those that differ."""
    scheme, width = look
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    for step in navigation.STEPS:
        visit(page, wizard.url, step.key, looked.soil)
        whole(page, width, into / f"{step.key}.png")
        if step.key in IN_README and width > 1000 and scheme == "light":
            height = IN_README[step.key]
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(400)
            page.screenshot(path=EVERYTHING / f"shown-{step.key}-{height}.png")
            page.set_viewport_size({"width": width, "height": 900})
    for name in further(page, wizard, looked):
        whole(page, width, into / f"{name}.png")
    context.close()


def further(page: Page, wizard: Wizard, looked: Looked) -> Iterator[str]:
    """Open the pages that look different of another dossier, or while they are filled in."""
    for key in ("window", "recommend", "verify"):
        visit(page, wizard.url, key, looked.keeper)
        yield f"{key}-keeper"
    visit(page, wizard.url, "transfer", looked.keeper)
    fill(page, "Fill of each vessel, mL", "9")
    says(page, "every target met")
    yield "transfer-keeper"
    visit(page, wizard.url, "verify", looked.done)
    says(page, "at the worst corner")
    yield "verify-done"
    visit(page, wizard.url, "report", looked.done)
    yield "report-done"
    visit(page, wizard.url, "results", looked.begun)
    a_log_is_looked_at(page)
    yield "results-log"
    a_new_job(page, wizard)
    yield "job-new"


def whole(page: Page, width: int, path: Path) -> None:
    """The whole page: the window is made as high as its content."""
    height = page.evaluate("document.querySelector('[data-testid=\"stMain\"]').scrollHeight")
    page.set_viewport_size({"width": width, "height": min(max(height, 900), TALLEST)})
    page.wait_for_timeout(400)
    expect(page.get_by_test_id("stSkeleton")).to_have_count(0, timeout=PATIENCE_MS)
    page.screenshot(path=path)
    page.set_viewport_size({"width": width, "height": 900})


if __name__ == "__main__":
    main()
