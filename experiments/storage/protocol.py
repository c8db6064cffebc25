"""What a store must do, and what can go wrong with one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from experiments.events import Event
from models.errors import WholeError


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


@dataclass(frozen=True)
class Draft:
    """A form as far as it is filled in: whose, which, when saved, and what is in it."""

    owner: str
    name: str
    at: str
    content: Mapping[str, Any]


class StoreError(WholeError):
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
        names = ", ".join(sorted({e.who for e in newer})) or "Somebody"
        kinds = ", ".join(dict.fromkeys(e.kind for e in newer)) or "another history"
        last = f", last at {newer[-1].at}" if newer else ""
        super().__init__(
            f"{names} changed this dossier in the meantime ({kinds}{last}).",
            "Load it again and repeat your entry; nothing of yours was saved.",
        )
        self.newer = tuple(newer)


Build = Callable[[Sequence[Event]], tuple[Sequence[Event], Summary]]
"""From the events somebody has not seen yet to those to be added, none to leave it as it is."""


class DossierStore(Protocol):
    """Keeps the events of dossiers; what is added is added whole or not at all."""

    def extend(self, dossier_id: str, after: int, build: Build) -> int:
        """Add what ``build`` makes of the events after ``after``, while nobody else may write.

        Gives the revision, which is the seq of the last event. An exception of ``build``
        changes nothing and is passed on.

        Raises
        ------
        StaleRevision
            when the store does not hold as many events
        UnknownDossier
            when events should follow others that are not there
        """
        ...

    def events(self, dossier_id: str) -> list[Event]:
        """All events in order; UnknownDossier when there are none."""
        ...

    def summaries(self) -> list[Summary]:
        """All dossiers, last changed first."""
        ...

    def note(self, at: str, who: str, what: str, payload: Mapping[str, Any]) -> None:
        """Write to the store's log, outside any dossier (export, import, report)."""
        ...

    def notes(self) -> list[dict[str, Any]]:
        """The store's log in order."""
        ...

    def save_draft(self, draft: Draft) -> None:
        """Keep a form in place of what was kept under its owner and name; empty: forget it."""
        ...

    def drafts(self, owner: str) -> list[Draft]:
        """Forms of one person, last saved first."""
        ...

    def close(self) -> None:
        """Let go of files and connections."""
        ...


def check_order(events: Sequence[Event], expected_revision: int) -> None:
    """Refuse, with ValueError, events that are not numbered from ``expected_revision + 1`` on."""
    numbers = [e.seq for e in events]
    if not numbers or numbers != list(range(expected_revision + 1, numbers[-1] + 1)):
        raise ValueError(f"events {numbers} do not follow revision {expected_revision}")


def append(
    store: DossierStore, dossier_id: str, events: Sequence[Event], expected_revision: int,
    summary: Summary,
) -> int:
    """Add events when the store holds none after ``expected_revision``; gives the new revision.

    Raises
    ------
    StaleRevision
        when the store holds other events by then
    UnknownDossier
        when events should follow others that are not there
    """
    if not events:
        check_order(events, expected_revision)

    def build(newer: Sequence[Event]) -> tuple[Sequence[Event], Summary]:
        if newer:
            raise StaleRevision(newer)
        return events, summary

    return store.extend(dossier_id, expected_revision, build)
