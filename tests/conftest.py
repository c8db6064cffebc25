"""What several folders of tests share: a browser, a real PostgreSQL server, databases in it."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import psycopg
import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

DATABASES = count(1)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The one browser of a process: its driver does not run twice in one."""
    from tests.browser.running import chromium

    with chromium() as found:
        yield found


def server_programs() -> Path:
    """The folder of PostgreSQL's server programs (Debian keeps them off the path)."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    onpath = shutil.which("initdb")
    assert found or onpath, "PostgreSQL is not installed; `make test` names what is missing"
    return (found[-1] if found else Path(str(onpath))).parent


def as_server(*command: str | Path) -> None:
    """Run a program of the server, which refuses to run as root."""
    words = [str(c) for c in command]
    if os.geteuid() == 0:
        words = ["runuser", "-u", "postgres", "--", *words]
    done = subprocess.run(words, capture_output=True, text=True, cwd="/", check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[Path]:
    """A server of our own that listens on a socket in the folder given, nowhere else."""
    folder = Path(tempfile.mkdtemp(prefix="bw"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
    programs, data = server_programs(), folder / "data"
    as_server(programs / "initdb", "-D", data, "-U", "bench", "-A", "trust", "-E", "UTF8", "-N")
    options = f"-k {folder} -h '' -c fsync=off -c max_connections=120"
    as_server(programs / "pg_ctl", "-D", data, "-l", folder / "log", "-w", "-o", options, "start")
    try:
        yield folder
    finally:
        as_server(programs / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


@pytest.fixture
def postgresql_url(postgresql_server: Path) -> Iterator[str]:
    """The URL of an empty database."""
    name = f"lab{next(DATABASES)}"
    server = f"host={postgresql_server} user=bench dbname=postgres"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    yield f"postgresql://bench@/{name}?host={postgresql_server}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
