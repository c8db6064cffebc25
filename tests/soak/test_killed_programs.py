"""The command line and the wizard's server under kill -9 while somebody saves."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from playwright.sync_api import Error as BrowserError
from playwright.sync_api import Locator, Page, expect

from tests.browser.reading import visit
from tests.browser.running import running
from tests.soak.killing import LONG, begun, check, kind, remarks, say

COMMANDS_KILLED = 140 if LONG else 4
SERVERS_KILLED = 60 if LONG else 2
A_MOMENT_MS = 500
ROWS = "Rows copied from a spreadsheet, with their header"
HEADER = ("trial;set_temperature_c;ramp_rate_mbar_per_min;end_pressure_mbar;run_time_min;"
          "recovery_percent:diethyl phthalate;remark")

pytestmark = pytest.mark.soak


def command(url: str, dossier: str, table: Path) -> subprocess.Popen[str]:
    """``boilwright record`` as a shell starts it."""
    words = [sys.executable, "-m", "experiments.cli", "record", dossier, str(table), "--json",
             "--store", url]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                            env={**os.environ, "BOILWRIGHT_USER": "Kim Tester"})


def table_of(mark: str) -> str:
    return f"{HEADER}\n;45;50;40;31,5;88,5;{mark}\n"


def test_a_killed_command_saves_whole_or_not_at_all(url, tmp_path, capsys):
    """Killed between its start and a little after its usual end, every other time near its end,
    where it saves."""
    dossier, table = begun(url), tmp_path / "table.csv"
    table.write_text(table_of("first"), "utf-8")
    start = time.monotonic()
    output, errors = command(url, dossier, table).communicate()
    usual = time.monotonic() - start
    assert json.loads(output)["accepted"], errors
    moments, told, cut = random.Random(41), {"first"}, 0
    for n in range(COMMANDS_KILLED):
        table.write_text(table_of(f"row {n}"), "utf-8")
        process = command(url, dossier, table)
        time.sleep(usual * moments.uniform(0.4 if n % 2 else 0.8, 1.1))
        process.send_signal(signal.SIGKILL)
        output, _ = process.communicate()
        cut += process.returncode == -signal.SIGKILL
        if output.endswith("\n"):
            told.add(f"row {n}")
        check(url, [])
    found = remarks(url, dossier)
    assert told <= set(found), "a save that was confirmed is not there"
    assert len(found) == len(set(found)), "a row was saved twice"
    assert cut, "no command was killed before its end"
    say(capsys, f"{kind(url)}, {COMMANDS_KILLED} commands: {cut} killed before their end, "
                f"{len(told) - 1} told that they saved, {len(found) - len(told)} saved untold")


@pytest.mark.browser
@pytest.mark.slow
def test_a_killed_server_loses_nothing_it_confirmed(url, browser, tmp_path, capsys):
    """Killed while results are recorded on a page; what the page confirmed is in the record."""
    dossier, moments, told = begun(url), random.Random(43), set()
    with running(tmp_path, store=url) as wizard:
        for n in range(SERVERS_KILLED):
            page = browser.new_page()
            visit(page, wizard.url, "results", dossier)
            killer = threading.Timer(moments.uniform(0.5, 6.0 if LONG else 3.0), wizard.kill)
            killer.start()
            told |= recorded_until_killed(page, killer, f"server {n}",
                                          len(remarks(url, dossier)))
            killer.join()
            page.close()
            check(url, [])
            assert told <= set(remarks(url, dossier)), "a confirmed save is not there"
            wizard.start()
    found = remarks(url, dossier)
    assert len(found) == len(set(found)), "a row was saved twice"
    assert told or not LONG, "no server lived long enough to confirm anything"
    say(capsys, f"{kind(url)}, {SERVERS_KILLED} servers killed: {len(told)} saves told, "
                f"{len(found) - len(told)} saved untold")


def recorded_until_killed(
    page: Page, killer: threading.Timer, name: str, already: int
) -> set[str]:
    """Paste and record row after row until the server is gone; what the page confirmed."""
    told: set[str] = set()
    rows = page.get_by_role("textbox", name=ROWS)
    content = page.get_by_test_id("stMain")
    while killer.is_alive():
        mark = f"{name} row {len(told)}"
        try:
            rows.fill(table_of(mark), timeout=A_MOMENT_MS)
            rows.press("Control+Enter", timeout=A_MOMENT_MS)
            button = content.get_by_role("button", name="Record these results", exact=True)
            if not seen(button, killer):
                continue
            button.click(timeout=A_MOMENT_MS)
            if seen(content.get_by_text(f"Recorded T{already + len(told) + 1}."), killer):
                told.add(mark)
                expect(rows).to_have_value("", timeout=20 * A_MOMENT_MS)
        except (BrowserError, AssertionError):
            continue  # the page answers no more, or drew itself anew just then
    return told


def seen(what: Locator, killer: threading.Timer) -> bool:
    """Whether a page shows something before, or just after, its server is killed."""
    while killer.is_alive():
        if what.is_visible():
            return True
        time.sleep(0.02)
    return what.is_visible()
