"""The log of a run is given, its columns confirmed, looked at and attached; then its run time."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from experiments import service
from tests.browser.reading import button, choose, no_fault, press, says, upload, visit
from tests.browser.running import Wizard, begun, running, session_of
from tests.experiments.instrument_logs import as_text, run_columns

pytestmark = [pytest.mark.browser, pytest.mark.slow]
HEADERS = ("clock", "Chamber pressure", "Wall [degC]", "Coolant in [degC]", "Coolant out [degC]")


def give(page: Page, path: Path) -> None:
    upload(page, "Log of", path)


def kept(wizard: Wizard, dossier_id: str):
    with session_of(wizard) as session:
        return service.load(session, dossier_id)


def test_a_log_is_attached_and_its_run_time_taken(page: Page, tmp_path: Path) -> None:
    log, scrap = tmp_path / "run 7.csv", tmp_path / "scrap.csv"
    log.write_text(as_text(run_columns(end_mbar=150.0, wall_c=35.0), HEADERS, ";", ","), "utf-8")
    scrap.write_text("nothing of the kind", "utf-8")
    with running(tmp_path) as wizard:
        dossier = begun(wizard)
        visit(page, wizard.url, "results", dossier)
        give(page, scrap)
        says(page, "No header with readings below it")
        give(page, log)
        says(page, "Still to choose: unit of the time, unit of the chamber pressure.")
        choose(page, "Unit of the time", "seconds")
        choose(page, "Unit of the chamber pressure", "mbar")
        says(page, "is this the run?")
        says(page, "run ends at 40.0 min")
        page.reload()  # the file must be given again; the choices are kept
        says(page, "Logs of the instruments")
        give(page, log)
        says(page, "is this the run?")
        press(page, "Attach to T1")
        says(page, "Attached run 7.csv to T1")
        says(page, "None is recorded yet")
        assert kept(wizard, dossier).trial("T1").result is None
        press(page, "Take the run time of the log")
        says(page, "is that of the log")
        expect(button(page, "Take the run time of the log")).to_have_count(0)
        no_fault(page)
        held = kept(wizard, dossier).trial("T1")
        assert held.result.run_time_min == pytest.approx(40.0, abs=0.1)
        assert held.log is not None
