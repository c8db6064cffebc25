"""What a store must do, and what can go wrong with one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from experiments.events import Event


@dataclass(frozen=True)
class Summary:
    """One line of the list of dossiers; ``facts`` are for finding methods again."""

    id: str
    title: str
    state: str
    trials: int
    revision: int
    updated: str
    facts: dict[str, Any]


class StoreError(Exception):
    """The store cannot be used as asked; ``cure`` says what would help."""

    def __init__(self, message: str, cure: str) -> None:
        super().__init__(f"{message} {cure}")
        self.message = message
        self.cure = cure


class UnknownDossier(StoreError):
    """There is no dossier of that id."""

    def __init__(self, dossier_id: str) -> None:
        super().__init__(f"There is no dossier {dossier_id[:40]!r}.",
                         "List the dossiers to find its id.")


class StaleRevision(StoreError):
    """Somebody else saved in between; ``newer`` holds what they added."""

    def __init__(self, newer: Sequence[Event]) -> None:
        last = newer[-1]
        names = ", ".join(sorted({e.who for e in newer}))
        kinds = ", ".join(dict.fromkeys(e.kind for e in newer))
        super().__init__(
            f"{names} changed this dossier in the meantime ({kinds}, last at {last.at}).",
            "Load it again and repeat your entry; nothing of yours was saved.",
        )
        self.newer = tuple(newer)


class DossierStore(Protocol):
    """Keeps the events of dossiers; an append is whole or not at all."""

    def append(
        self, dossier_id: str, events: Sequence[Event], expected_revision: int, summary: Summary
    ) -> int:
        """Add events after ``expected_revision``; returns the new revision (last seq).

        Raises StaleRevision when the store holds other events by then.
        """
        ...

    def events(self, dossier_id: str) -> list[Event]:
        """All events in order; UnknownDossier when there are none."""
        ...

    def summaries(self) -> list[Summary]:
        """All dossiers, last changed first."""
        ...

    def note(self, at: str, who: str, what: str, payload: dict[str, Any]) -> None:
        """Write to the store's log, outside any dossier (export, import, report)."""
        ...

    def notes(self) -> list[dict[str, Any]]:
        """The store's log in order."""
        ...

    def close(self) -> None: ...
