"""Builds the store and the user from settings; the only place that chooses SQLite."""

from __future__ import annotations

import getpass
import os
from pathlib import Path

from platformdirs import user_data_path

from experiments.service import Session
from experiments.storage.database import DatabaseStore
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import DossierStore
from experiments.users import User

STORE_VARIABLE = "BOILWRIGHT_STORE"
USER_VARIABLE = "BOILWRIGHT_USER"


def store_url(given: str | None = None) -> str:
    """The store's URL: as given, else from the environment, else a file of the user's."""
    value = given or os.environ.get(STORE_VARIABLE)
    if not value:
        return f"sqlite:///{user_data_path('boilwright', appauthor=False) / 'dossiers.sqlite'}"
    if "://" in value or value == "memory":
        return value
    return f"sqlite:///{Path(value).expanduser().resolve()}"


def open_store(given: str | None = None) -> DossierStore:
    """Open the store, building or upgrading it where needed.

    Raises
    ------
    StoreError
        with a cure, when it cannot be opened
    """
    url = store_url(given)
    return MemoryStore() if url == "memory" else DatabaseStore(url)


def local_user() -> User:
    """The person at this machine, with every role."""
    name = os.environ.get(USER_VARIABLE)
    if not name:
        try:
            name = getpass.getuser()
        except (KeyError, OSError):
            name = "analyst"
    return User(name, is_local=True)


def open_session(given: str | None = None) -> Session:
    """A session of the local user on the store."""
    return Session(open_store(given), local_user())
