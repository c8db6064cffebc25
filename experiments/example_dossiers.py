"""The example dossiers: a job and a filled trial table each, in the folder ``examples/``.

The folder is read where the program is installed from (a clone or a container), because
installations are editable.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from experiments import service
from experiments.entries import EntryError
from experiments.storage.protocol import DossierStore
from experiments.users import User

FOLDER: Final = Path(__file__).parents[1] / "examples"


@dataclass(frozen=True)
class Example:
    """One example: the key it is asked for by, its title, what it shows, its two files."""

    key: str
    line: str
    job: Path
    table: Path

    @property
    def title(self) -> str:
        return str(tomllib.loads(self.job.read_text("utf-8"))["title"])


_LINES: Final = {
    "semivolatiles_to_dryness": "Semi-volatiles from dichloromethane, twelve tubes to dryness",
    "new_analyte_with_keeper": "An analyte known only from its data sheet, with a keeper",
}


def names() -> tuple[Example, ...]:
    """The examples there are, in the order to look at them."""
    return tuple(
        Example(key, line, FOLDER / f"{key}.toml", FOLDER / f"{key}_trials.csv")
        for key, line in _LINES.items()
    )


def load(store: DossierStore, key: str, user: User) -> str:
    """Start a dossier from an example with all its trials recorded; returns its id.

    Raises
    ------
    EntryError
        for an unknown key, or where the folder with the examples is missing
    """
    example = next((e for e in names() if e.key == key), None)
    if example is None:
        known = " or ".join(e.key for e in names())
        raise EntryError(f"There is no example {key[:40]!r}.", f"Use {known}.")
    if not (example.job.is_file() and example.table.is_file()):
        raise EntryError("The folder with the examples is not there.",
                         "Install the program from a clone of its repository.")
    session = service.Session(store, user)
    dossier_id = service.create(session, example.job).id
    _, table, _ = service.record_table(session, dossier_id, example.table.read_bytes())
    if not table.is_clean:
        first = table.rejected[0]
        raise EntryError(f"The example's table was changed: {first.reason}", first.cure)
    return dossier_id
