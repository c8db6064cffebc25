"""The record under kill -9 and under many hands. ``make soak`` runs the long round."""

from __future__ import annotations

import os
import random
import runpy
import signal
import statistics
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from experiments import service
from experiments.bootstrap import open_store
from experiments.events import verify_chain
from experiments.job_file import parse
from experiments.users import User

ROOT = Path(__file__).parents[2]
ANALYST = ROOT / "tests" / "soak" / "analyst.py"
LONG = os.environ.get("BOILWRIGHT_SOAK") == "long"
KILLS = 200 if LONG else 8
CROWD_SECONDS = 120.0 if LONG else 6.0

pytestmark = pytest.mark.soak


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'store.sqlite'}"
    return request.getfixturevalue("postgresql_url")


def started(url: str, name: str, seconds: float, shared: str = "") -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, ANALYST, url, name, str(seconds), *([shared] if shared else [])],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def confirmed(output: str) -> list[tuple[str, int, str, float]]:
    """What an analyst was told is saved; a line cut short was told to nobody."""
    lines = output.split("\n")[:-1]
    parts = [line.split(" ") for line in lines]
    return [(p[0], int(p[1]), p[2], float(p[3])) for p in parts]


def check(url: str, saves: list[tuple[str, int, str, float]]) -> None:
    """Every confirmed save is there, every chain holds, lists and events agree."""
    session = service.Session(open_store(url), User("auditor"))
    assert all(c.holds for c in service.audit(session).values())
    held = {s.id: session.store.events(s.id) for s in session.store.summaries()}
    for dossier, revision, digest, _ in saves:
        assert held[dossier][revision - 1].hash == digest
    for name in held:
        service.load(session, name)
    session.store.close()


def test_a_killed_program_loses_nothing_it_confirmed(url):
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


def test_a_store_killed_while_it_is_made_opens_afterwards(tmp_path):
    moments = random.Random(7)
    for n in range(KILLS // 4):
        path = f"sqlite:///{tmp_path / f'new{n}.sqlite'}"
        process = started(path, "first", 60.0)
        time.sleep(moments.uniform(0.25, 0.9))
        process.kill()
        output, _ = process.communicate()
        check(path, confirmed(output))


def test_many_analysts_lose_no_update(url, capsys):
    """Twenty on PostgreSQL, five on SQLite, all on one dossier and each on dossiers of his own."""
    hands = 5 if url.startswith("sqlite") else 20
    if not LONG:
        hands = min(hands, 6)
    session = service.Session(open_store(url), User("head"))
    job = parse(runpy.run_path(str(ANALYST))["JOB"], chemistry=False)
    shared = service.create(session, job).id
    team = [started(url, f"analyst {n}", CROWD_SECONDS, shared) for n in range(hands)]
    outputs: dict[int, tuple[str, str]] = {}

    def wait(n: int) -> None:
        outputs[n] = team[n].communicate()

    readers = [threading.Thread(target=wait, args=(n,)) for n in range(hands)]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    assert [p.returncode for p in team] == [0] * hands, [e for _, e in outputs.values()]
    saves = [s for out, _ in outputs.values() for s in confirmed(out)]
    check(url, saves)
    events = session.store.events(shared)
    told = [s for s in saves if s[0] == shared]
    assert len(events) == 1 + 2 * len(told), "an update of the shared dossier was lost or doubled"
    assert verify_chain(events).holds
    session.store.close()
    took = sorted(s[3] for s in saves)
    with capsys.disabled():
        sys.stdout.write(
            f"\n{url.split(':')[0]}: {hands} analysts, {len(saves)} saves in "
            f"{CROWD_SECONDS:.0f} s; median {1000 * statistics.median(took):.0f} ms, "
            f"95 % within {1000 * took[int(0.95 * len(took))]:.0f} ms, "
            f"longest {1000 * took[-1]:.0f} ms\n"
        )
