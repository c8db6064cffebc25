"""What went wrong, in a sentence with a cure; nothing else of an error reaches the screen."""

from __future__ import annotations

from experiments.entries import EntryError
from experiments.job_file import JobError
from experiments.storage.protocol import StoreError
from experiments.users import NotAllowed
from models.errors import ModelError

EXPECTED = (EntryError, JobError, StoreError, NotAllowed, ModelError)
"""Faults of input, of the store or of rights; anything else is a fault of the program."""


def sentences(error: Exception) -> list[str]:
    """What to show for an error, one entry a fault."""
    if isinstance(error, JobError):
        return [f"{f.path}: {f.message} {f.cure}" for f in error.faults]
    if isinstance(error, EntryError | StoreError | NotAllowed | ModelError):
        return [f"{error.message} {error.cure}".strip()]
    return [
        "Something went wrong inside the program, and nothing was saved. "
        "Try again; if it happens twice, report it with what you did."
    ]
