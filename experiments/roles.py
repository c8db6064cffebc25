"""Who may read, enter and approve where people sign in: a file of the laboratory's own.

``BOILWRIGHT_ROLES`` names a TOML file with one list a role; ``*`` stands for any part of a name::

    read = ["*@lab.example"]
    enter = ["ada@lab.example", "*@bench.lab.example"]
    approve = ["grace@lab.example"]

Whoever may enter or approve may also read. Without the file a signed-in person may only read,
so that a sign-in set up halfway gives nothing away. The command line heeds the file too, for the
name of the system's account.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, get_args

from experiments.storage.protocol import StoreError
from experiments.users import Role, User

ROLES_VARIABLE: Final = "BOILWRIGHT_ROLES"
ROLES: Final[tuple[Role, ...]] = get_args(Role)


def signed_in_user(name: str, path: str | None = None) -> User:
    """The person of that name (the provider's e-mail address) with the roles of the file.

    Raises
    ------
    StoreError
        when the file cannot be read or says something else than roles
    """
    given = path if path is not None else os.environ.get(ROLES_VARIABLE)
    if not given:
        return User(name, frozenset({"read"}))
    lists = read_roles(Path(given))
    own = {role for role, names in lists.items()
           if any(fnmatchcase(name.casefold(), n.casefold()) for n in names)}
    return User(name, frozenset(own | {"read"} if own else own))


def read_roles(path: Path) -> Mapping[Role, tuple[str, ...]]:
    """The lists of the file, checked."""
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise StoreError(f"The roles in {str(path)!r} cannot be read.",
                         f"Check the file that {ROLES_VARIABLE} names.") from error
    unknown = sorted(set(data) - set(ROLES))
    if unknown:
        raise StoreError(f"{unknown[0]!r} in {str(path)!r} is no role.",
                         f"Use {', '.join(ROLES)}.")
    lists: dict[Role, tuple[str, ...]] = {}
    for role in ROLES:
        names = data.get(role, [])
        if not isinstance(names, list) or not all(isinstance(n, str) for n in names):
            raise StoreError(f"{role} in {str(path)!r} is no list of names.",
                             f'Write for example {role} = ["*@lab.example"].')
        lists[role] = tuple(names)
    return lists
