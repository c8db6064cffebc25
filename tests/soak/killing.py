"""What the tests of killed programs share: an empty job to write to, and looking afterwards."""

from __future__ import annotations

import os
import runpy
import sys
from pathlib import Path

import pytest

from experiments import service
from experiments.bootstrap import open_store
from experiments.job_file import parse
from experiments.users import User

LONG = os.environ.get("BOILWRIGHT_SOAK") == "long"
ANALYST = Path(__file__).with_name("analyst.py")
Save = tuple[str, int, str, float]
"""What somebody was told is saved: dossier, revision, hash of its last event, seconds."""


def begun(url: str) -> str:
    """The id of a new dossier in a store."""
    store = open_store(url)
    try:
        job = parse(runpy.run_path(str(ANALYST))["JOB"], chemistry=False)
        return service.create(service.Session(store, User("head")), job).id
    finally:
        store.close()


def check(url: str, saves: list[Save]) -> None:
    """Every confirmed save is there, every chain holds, lists and events agree."""
    session = service.Session(open_store(url), User("auditor"))
    assert all(c.holds for c in service.audit(session).values())
    held = {s.id: session.store.events(s.id) for s in session.store.summaries()}
    for dossier, revision, digest, _ in saves:
        assert held[dossier][revision - 1].hash == digest
    for name in held:
        service.load(session, name)
    session.store.close()


def remarks(url: str, dossier_id: str) -> list[str]:
    """The remarks of all recorded trials, with which a test marks its saves."""
    store = open_store(url)
    try:
        dossier = service.load(service.Session(store, User("auditor")), dossier_id)
        return [t.result.remark for t in dossier.trials if t.result is not None]
    finally:
        store.close()


def kind(url: str) -> str:
    """What a store is: sqlite or postgresql."""
    return url.split(":")[0]


def say(capsys: pytest.CaptureFixture[str], words: str) -> None:
    """Print what was counted or measured, also when the test passes."""
    with capsys.disabled():
        sys.stdout.write(f"\n{words}\n")
