"""The record under kill -9 and under many hands. ``make soak`` runs the long round."""

from __future__ import annotations

import os
import random
import signal
import statistics
import subprocess
import sys
import time
import urllib.request
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from experiments import service
from experiments.bootstrap import open_store
from experiments.events import verify_chain
from experiments.users import User
from tests.browser.reading import visit
from tests.browser.running import Wizard, running
from tests.soak.killing import ANALYST, LONG, Save, begun, check, kind, say

ROOT = Path(__file__).parents[2]
KILLS = 200 if LONG else 8
CROWD_SECONDS = 120.0 if LONG else 6.0

pytestmark = pytest.mark.soak


def started(url: str, name: str, seconds: float, shared: str = "") -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, ANALYST, url, name, str(seconds), *([shared] if shared else [])],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def confirmed(output: str) -> list[Save]:
    """What an analyst was told is saved; a line cut short was told to nobody."""
    lines = output.split("\n")[:-1]
    parts = [line.split(" ") for line in lines]
    return [(p[0], int(p[1]), p[2], float(p[3])) for p in parts]


def test_a_killed_program_loses_nothing_it_confirmed(url, capsys):
    """SIGKILL at random moments after the first confirmed save."""
    moments = random.Random(20260302)
    open_store(url).close()
    saves = []
    for n in range(KILLS):
        process = started(url, f"analyst {n}", 60.0)
        assert process.stdout is not None
        first = process.stdout.readline()
        time.sleep(moments.uniform(0.0, 0.6))
        process.send_signal(signal.SIGKILL)
        output, _ = process.communicate()
        assert process.returncode == -signal.SIGKILL
        saves += confirmed(first + output)
        if n % 20 == 19:
            check(url, saves)
    check(url, saves)
    assert len(saves) > KILLS, "the analysts were killed before they could save more than once"
    say(capsys, f"{kind(url)}, {KILLS} programs killed: {len(saves)} saves told, all there")


def test_a_store_killed_while_it_is_made_opens_afterwards(tmp_path):
    """Killed between the start of the program and a little after its first save."""
    start = time.monotonic()
    started(f"sqlite:///{tmp_path / 'whole.sqlite'}", "first", 0.0).communicate()
    usual, moments, made = time.monotonic() - start, random.Random(7), 0
    for n in range(KILLS // 4):
        file = tmp_path / f"new{n}.sqlite"
        process = started(f"sqlite:///{file}", "first", 60.0)
        time.sleep(usual * moments.uniform(0.7, 1.2))
        process.kill()
        output, _ = process.communicate()
        made += file.exists()
        check(f"sqlite:///{file}", confirmed(output))
    assert made, "no program was killed late enough to have begun its store"


def test_many_analysts_lose_no_update(url, browser, tmp_path, capsys):
    """Twenty on PostgreSQL, five on SQLite, all on one dossier and each on dossiers of his own;
    meanwhile the wizard on the same store answers every request and draws its list."""
    hands = 5 if url.startswith("sqlite") else 20
    if not LONG:
        hands = min(hands, 6)
    shared = begun(url)
    with running(tmp_path, store=url) as wizard:
        team = [started(url, f"analyst {n}", CROWD_SECONDS, shared) for n in range(hands)]
        with ThreadPoolExecutor(hands + 1) as readers:
            outputs = [readers.submit(p.communicate) for p in team]
            answers = readers.submit(asked_while, wizard, outputs)
            pages = drawn_while(browser, wizard, outputs)
        assert "Traceback" not in wizard.words()
    assert [p.returncode for p in team] == [0] * hands, [o.result()[1] for o in outputs]
    saves = [s for o in outputs for s in confirmed(o.result()[0])]
    check(url, saves)
    session = service.Session(open_store(url), User("head"))
    events = session.store.events(shared)
    session.store.close()
    told = [s for s in saves if s[0] == shared]
    assert len(events) == 1 + 2 * len(told), "an update of the shared dossier was lost or doubled"
    assert verify_chain(events).holds
    assert pages, "no page was drawn while the analysts wrote"
    say(capsys, f"{kind(url)}, {hands} analysts for {CROWD_SECONDS:.0f} s: saves "
                f"{in_words([s[3] for s in saves])}; answers of the server "
                f"{in_words(answers.result())}; pages {in_words(pages)}")


def asked_while(wizard: Wizard, work: list[Future[tuple[str, str]]]) -> list[float]:
    """Seconds of each answer of the server, every one with status 200, while others work."""
    took = []
    while not all(w.done() for w in work):
        for path in ("/_stcore/health", "/", "/results"):
            start = time.perf_counter()
            with urllib.request.urlopen(wizard.url + path, timeout=30) as answer:
                assert answer.status == 200, path
                answer.read()
            took.append(time.perf_counter() - start)
        time.sleep(0.1)
    return took


def drawn_while(
    browser: Browser, wizard: Wizard, work: list[Future[tuple[str, str]]]
) -> list[float]:
    """Seconds until the list of dossiers is drawn, without a fault, while others work."""
    took = []
    page = browser.new_page()
    while not all(w.done() for w in work):
        start = time.perf_counter()
        visit(page, wizard.url, "dossiers")
        took.append(time.perf_counter() - start)
    page.close()
    return took


def in_words(seconds: list[float]) -> str:
    """How many there were, and how long they took."""
    took = sorted(1000 * s for s in seconds)
    return (f"{len(took)}, median {statistics.median(took):.0f} ms, 95 % within "
            f"{took[int(0.95 * len(took))]:.0f} ms, longest {took[-1]:.0f} ms")
