"""The pages in their states: filled, empty, being filled in, on the way to a decision."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Page, expect

from experiments import approval, example_dossiers, service
from experiments.verification_entry import plan_verification, record_verification
from tests.browser.conftest import KEEPER, SOIL
from tests.browser.reading import asked, button, choose, fill, press, says, settled, upload, visit
from tests.browser.running import Wizard, begun, session_of
from tests.browser.verification_rows import robustness_table, verification_table
from tests.experiments.instrument_logs import as_text, run_columns
from wizard import navigation


def every_page(page: Page, laboratory: Wizard) -> Iterator[str]:
    """Open one page after the other, also those that look different while they are filled in."""
    for step in navigation.STEPS:
        visit(page, laboratory.url, step.key, laboratory.dossiers[SOIL])
        everything_opened(page)
        yield step.key
    waiting = begun(laboratory)
    visit(page, laboratory.url, "verify", waiting)
    says(page, "This page fills once there is one.")
    yield "verify, too early"
    visit(page, laboratory.url, "results", waiting)
    expect(page.locator('[data-cell="0-2"]')).to_be_visible()
    a_log_is_looked_at(page)
    yield "results to fill in, with a log"
    a_new_job(page, laboratory)
    yield "job to write"
    visit(page, laboratory.url, navigation.HOME)
    button(page, "Open this example").first.click()
    asked(page, "window")
    says(page, "Tour, stop 1 of 7")
    yield "window, on the tour"
    for key in ("recommend", "verify"):
        visit(page, laboratory.url, key, laboratory.dossiers[KEEPER])
        everything_opened(page)
        yield f"{key}, of a method that is ready"
    done = example(laboratory, KEEPER)
    verify(laboratory, done)
    for key in ("verify", "report"):
        visit(page, laboratory.url, key, done)
        everything_opened(page)
        yield f"{key}, of a verified method"


def a_log_is_looked_at(page: Page) -> None:
    """A log is given and drawn, and not attached yet."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "run.csv"
        log.write_text(as_text(run_columns(end_mbar=150.0, wall_c=35.0)), "utf-8")
        upload(page, "Log of", log)
        says(page, "is this the run?")


def a_new_job(page: Page, wizard: Wizard) -> None:
    """The form of a job, begun from presets, with an analyte no library knows."""
    visit(page, wizard.url, navigation.HOME)
    press(page, "Write a new job")
    asked(page, "job")
    choose(page, "Usual solvents", "Ethyl acetate")
    choose(page, "Start from an evaporator", "24 vials of 40 mL", typed="24 vials")
    fill(page, "A new analyte, not in the library", "RX-4")
    press(page, "Add it")
    says(page, "RX-4")
    everything_opened(page)


def everything_opened(page: Page) -> None:
    """Open whatever is folded away."""
    settled(page)
    folded = page.get_by_test_id("stMain").locator("details:not([open]) > summary")
    while folded.count():
        folded.first.click()
        settled(page)


def example(wizard: Wizard, key: str) -> str:
    """A dossier more of that example."""
    with session_of(wizard) as session:
        return example_dossiers.load(session.store, key, session.user)


def judge_robustness(wizard: Wizard, dossier_id: str) -> None:
    """The second example's robustness study is planned and its runs all come back well."""
    with session_of(wizard) as session:
        _, trials = service.plan_robustness(session, dossier_id)
        service.record_table(session, dossier_id, robustness_table([t.id for t in trials]))


def verify(wizard: Wizard, dossier_id: str) -> None:
    """The setting of the second example is confirmed by replicate runs."""
    with session_of(wizard) as session:
        answer = service.recommend(session, dossier_id)[1]
        assert answer.setting is not None
        _, made = plan_verification(session, dossier_id, None, answer.setting)
        minutes = f"{answer.run_time_min.mean:.1f}".replace(".", ",")
        record_verification(session, dossier_id, verification_table(
            made.criteria.runs, made.criteria.days, minutes))
        approval.change_state(session, dossier_id, "verified", "verification passed")
