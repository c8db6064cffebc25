"""The wizard as a user starts it, on a store of its own, and a browser to look at it."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from experiments import example_dossiers, service
from experiments.bootstrap import local_user, open_store
from experiments.users import User

BEGUN_WITH = "semivolatiles_to_dryness"
START_S = 60.0
"""Two busy cores may take this long to start a server."""


class Wizard:
    """A running ``boilwright app``; its words are kept in a file beside the store."""

    def __init__(self, folder: Path, store: str | None = None) -> None:
        self.store = store or str(folder / "laboratory.sqlite")
        self.log = folder / "wizard.log"
        self.port = free_port()
        self.dossiers: dict[str, str] = {}
        self.settings: dict[str, str] = {"BOILWRIGHT_USER": "Kim Tester"}
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        """Start the server and wait until it answers."""
        program = Path(sys.executable).with_name("boilwright")
        words = [program, "app", "--no-browser", "--port", str(self.port),
                 "--store", self.store]
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                words, stdout=log, stderr=log, start_new_session=True,
                env={**os.environ, **self.settings},
            )
        end = time.monotonic() + START_S
        while not self._answers():
            assert self._process.poll() is None, f"the wizard did not start:\n{self.words()}"
            assert time.monotonic() < end, f"the wizard does not answer:\n{self.words()}"
            time.sleep(0.1)

    def stop(self) -> None:
        """Stop the server as a closed terminal would."""
        if self._process is None:
            return
        os.killpg(self._process.pid, signal.SIGTERM)
        try:
            self._process.wait(15)
        except subprocess.TimeoutExpired:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(15)
        self._process = None
        end = time.monotonic() + START_S
        while self._answers():  # what it started may need a moment longer
            assert time.monotonic() < end, "the wizard does not stop"
            time.sleep(0.1)

    def kill(self) -> None:
        """End the server at once and without warning, as a power cut would."""
        assert self._process is not None
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait(15)
        self._process = None

    def words(self) -> str:
        """What the server has written so far."""
        return self.log.read_text("utf-8", errors="replace")

    def _answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=2) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("localhost", 0))
        return int(probe.getsockname()[1])


@contextmanager
def session_of(wizard: Wizard, user: User | None = None) -> Iterator[service.Session]:
    """The store of a wizard, in the hands of the person at this machine or of somebody else."""
    store = open_store(wizard.store)
    try:
        yield service.Session(store, user or local_user())
    finally:
        store.close()


def begun(wizard: Wizard) -> str:
    """A dossier whose first trial, the method in use, waits for its run."""
    with session_of(wizard) as session:
        return service.create(session, example_dossiers.FOLDER / f"{BEGUN_WITH}.toml").id


@contextmanager
def running(folder: Path, *examples: str, store: str | None = None) -> Iterator[Wizard]:
    """A wizard on a store, a fresh one by default, with the examples named as dossiers."""
    wizard = Wizard(folder, store)
    with session_of(wizard) as session:
        for key in examples:
            wizard.dossiers[key] = example_dossiers.load(session.store, key, session.user)
    wizard.start()
    try:
        yield wizard
    finally:
        wizard.stop()
        sys.stdout.write(wizard.words())  # pytest shows it when the test failed


@contextmanager
def chromium() -> Iterator[Browser]:
    """The system's own browser, without a window."""
    program = shutil.which("chromium")
    assert program, "chromium is not installed; `make test` names what is missing"
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()
