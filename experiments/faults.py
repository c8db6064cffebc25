"""Faults that a user can mend, in words; the command line and the wizard show the same."""

from __future__ import annotations

from typing import Final

from experiments.job_file import JobError
from models.errors import Mendable

EXPECTED: Final = (JobError, Mendable)
"""Faults of input, of the store or of rights; anything else is a fault of the program."""


def fault_sentences(error: Exception) -> list[str]:
    """A sentence with its cure for each fault; none for what is not expected."""
    if isinstance(error, JobError):
        return [str(fault) for fault in error.faults]
    return [str(error)] if isinstance(error, Mendable) else []
