"""Builds the store and the user from settings; the only place that chooses SQLite."""

from __future__ import annotations

import getpass
import os
from pathlib import Path

from platformdirs import user_data_path

from experiments.roles import ROLES_VARIABLE, signed_in_user
from experiments.service import Session
from experiments.storage.database import DatabaseStore
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import DossierStore, StoreError
from experiments.users import User

STORE_VARIABLE = "BOILWRIGHT_STORE"
USER_VARIABLE = "BOILWRIGHT_USER"


def store_url(given: str | None = None) -> str:
    """The store's URL: as given, else from the environment, else a file of the user's."""
    if given is not None and not given.strip():
        raise StoreError("The name of the store is empty.",
                         "Give a path or a URL, or leave --store out.")
    value = given or os.environ.get(STORE_VARIABLE)
    if not value:
        return f"sqlite:///{default_folder() / 'dossiers.sqlite'}"
    if "://" in value or value == "memory":
        return value
    path = str(Path(os.path.expanduser(value)).absolute())  # ~x stays where nobody is x
    return f"sqlite:///{path.replace('%', '%25').replace('?', '%3F')}"


def default_folder() -> Path:
    """The folder of the user's data that holds the store when none is named."""
    return user_data_path("boilwright", appauthor=False)


def open_store(given: str | None = None) -> DossierStore:
    """Open the store, building or upgrading it where needed.

    Raises
    ------
    StoreError
        with a cure, when it cannot be opened
    """
    url = store_url(given)
    if not (given or os.environ.get(STORE_VARIABLE)):
        try:
            default_folder().mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"The folder {str(default_folder())!r} cannot be made.",
                             f"Name a store with --store or {STORE_VARIABLE}.") from error
    return MemoryStore() if url == "memory" else DatabaseStore(url)


def local_user() -> User:
    """The person at this machine: with every role, or with those that a file of roles gives.

    Where there is such a file the account of the system counts, not a name anybody may set.
    """
    if os.environ.get(ROLES_VARIABLE):
        return signed_in_user(_account())
    return User(os.environ.get(USER_VARIABLE) or _account(), is_local=True)


def _account() -> str:
    """The name of the account that runs this program."""
    try:
        from pwd import getpwuid

        return getpwuid(os.getuid()).pw_name
    except (ImportError, KeyError):  # no such list on this system, or not in it
        pass
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "analyst"


def open_session(given: str | None = None) -> Session:
    """A session of the local user on the store."""
    return Session(open_store(given), local_user())
