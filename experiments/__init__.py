"""Jobs, trials, learning in sequence, dossiers, storage and report. No screen code.

``from experiments import Dossier`` is all a script needs.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from experiments.dossier import Dossier, DossierError
    from experiments.job_file import JobError

__all__ = ["Dossier", "DossierError", "JobError"]

_HOME = {
    "Dossier": "experiments.dossier",
    "DossierError": "experiments.dossier",
    "JobError": "experiments.job_file",
}


def __getattr__(name: str) -> Any:
    """Load what is asked for only then: the command line must answer at once."""
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
