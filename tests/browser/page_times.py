"""How long pages take on a store of 200 dossiers: ``python -m tests.browser.page_times``.

Wanted: the first page within 4 s of the start, a change of page within 1 s once what it
shows has been worked out, and the answer to a setting within 0.3 s of the step. The load of the
machine is printed with the figures.
"""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page

from experiments import example_dossiers, service
from tests.browser.reading import PATIENCE_MS, SETTLED, menu_link, no_fault, settled, visit
from tests.browser.running import Wizard, chromium, running, session_of
from wizard import navigation

DOSSIERS = 200
ROUNDS = 3
FIRST_LOAD_S, CHANGE_S, ANSWER_S = 4.0, 1.0, 0.3
STEPS_TAKEN = 8
SHOWN = f"""question => {{
  const title = document.querySelector('[data-testid="stMain"] h1');
  return !!title && title.innerText.trim() === question && ({SETTLED})();
}}"""
"""The page that asks a question is drawn to its end."""
STEPPED = """label => new Promise((done, fail) => {
  const app = document.querySelector('[data-test-script-state]');
  const main = document.querySelector('[data-testid="stMain"]');
  const said = () => main.querySelector('h4').innerText + main.querySelector('table').innerText;
  const button = main.querySelector(`input[aria-label="${label}"]`)
    .closest('[data-testid="stNumberInput"]').querySelector('[data-testid="stNumberInputStepDown"]');
  const before = said(), began = performance.now();
  let answered = null;
  setTimeout(() => fail('the answer does not change'), 60000);
  new MutationObserver((_, observer) => {
    if (answered === null && said() !== before) answered = performance.now() - began;
    const running = app.getAttribute('data-test-script-state') === 'running';
    if (answered === null || running) return;
    observer.disconnect();
    requestAnimationFrame(() => done([answered, performance.now() - began]));
  }).observe(app, {attributes: true, childList: true, characterData: true, subtree: true});
  button.click();
})"""
"""Milliseconds from a step of a setting to its sentence and table, and to the whole page."""


def main() -> None:
    """Fill a store, open the wizard on it and print the figures."""
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as wizard:
        began = time.perf_counter()
        opened = filled(wizard)
        print(f"{DOSSIERS} dossiers made in {time.perf_counter() - began:.1f} s; {load()}")
        wizard.stop()
        with chromium() as browser:
            started(browser, wizard)
            page_changes(browser, wizard, opened)
            answers_to_steps(browser, wizard, opened)
    print(load())


def load() -> str:
    """What else the machine is doing."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"


def filled(wizard: Wizard) -> str:
    """Copies of both examples with their trials, none fitted; the id of one of the first."""
    examples = [e.key for e in example_dossiers.names()]
    with session_of(wizard) as session:
        made = [example_dossiers.load(session.store, examples[n % len(examples)], session.user)
                for n in range(DOSSIERS)]
        assert len(service.summaries(session)) == DOSSIERS
        return made[0]


def started(browser: Browser, wizard: Wizard) -> None:
    """The list of dossiers: from the start of the program, and in another window later."""
    for name in ("first page, from the start of the program", "list in a new window"):
        context = browser.new_context()
        page = context.new_page()
        began = time.perf_counter()
        if name.startswith("first"):
            wizard.start()
        page.goto(wizard.url)
        print(line(name, [drawn(page, navigation.HOME, began)], FIRST_LOAD_S))
        context.close()


def page_changes(browser: Browser, wizard: Wizard, dossier_id: str) -> None:
    """Every page through the menu: as its answers are worked out, then again."""
    page = browser.new_context().new_page()
    began = time.perf_counter()
    page.goto(f"{wizard.url}/{navigation.STEPS[1].key}?dossier={dossier_id}")
    drawn(page, navigation.STEPS[1].key, began)
    keys = [step.key for step in navigation.STEPS]
    for key in keys:
        print(line(f"{key}, worked out", [turned(page, key)]))
    again: dict[str, list[float]] = {key: [] for key in keys}
    for _ in range(ROUNDS):
        for key in keys:
            again[key].append(turned(page, key))
    for key, times in again.items():
        print(line(f"{key}, again", times, CHANGE_S))


def answers_to_steps(browser: Browser, wizard: Wizard, dossier_id: str) -> None:
    """The page that answers what a setting would do, stepped again and again."""
    page = browser.new_context().new_page()
    visit(page, wizard.url, "whatif", dossier_id)
    page.get_by_role("table").wait_for(timeout=PATIENCE_MS)
    settled(page)
    times = []
    for _ in range(STEPS_TAKEN):
        times.append(page.evaluate(STEPPED, "Set temperature, °C"))
        settled(page)
        no_fault(page)
    answered, whole = ([t[k] / 1000 for t in times] for k in (0, 1))
    print(line("setting stepped, sentence and table", answered, ANSWER_S))
    print(line("setting stepped, with its chart", whole))


def turned(page: Page, key: str) -> float:
    """Seconds from the click in the menu to the page drawn to its end."""
    link = menu_link(page, key)
    link.wait_for()
    began = time.perf_counter()
    link.click()
    return drawn(page, key, began)


def drawn(page: Page, key: str, began: float) -> float:
    """Seconds until the page is drawn to its end."""
    page.wait_for_function(SHOWN, arg=navigation.step(key).question, timeout=PATIENCE_MS)
    took = time.perf_counter() - began
    no_fault(page)
    return took


def line(name: str, times: list[float], wanted: float | None = None) -> str:
    """A figure with its goal; of several the middle and the longest."""
    middle, longest = sorted(times)[len(times) // 2], max(times)
    text = f"{name:45} {middle:6.2f} s"
    if len(times) > 1:
        text += f", longest {longest:.2f} s"
    if wanted is not None:
        text += f" (wanted {wanted:g} s{'' if middle <= wanted else ': MISSED'})"
    return text


if __name__ == "__main__":
    main()
