"""A store in memory, for tests and scripts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from experiments.events import Event
from experiments.storage.protocol import StaleRevision, Summary, UnknownDossier


class MemoryStore:
    """Keeps everything until the process ends."""

    def __init__(self) -> None:
        self._events: dict[str, list[Event]] = {}
        self._summaries: dict[str, Summary] = {}
        self._notes: list[dict[str, Any]] = []

    def append(
        self, dossier_id: str, events: Sequence[Event], expected_revision: int, summary: Summary
    ) -> int:
        held = self._events.get(dossier_id, [])
        if len(held) != expected_revision:
            raise StaleRevision(held[expected_revision:] or held[-1:])
        self._events[dossier_id] = [*held, *events]
        self._summaries[dossier_id] = summary
        return len(self._events[dossier_id])

    def events(self, dossier_id: str) -> list[Event]:
        if dossier_id not in self._events:
            raise UnknownDossier(dossier_id)
        return list(self._events[dossier_id])

    def summaries(self) -> list[Summary]:
        return sorted(self._summaries.values(), key=lambda s: (s.updated, s.id), reverse=True)

    def note(self, at: str, who: str, what: str, payload: dict[str, Any]) -> None:
        self._notes.append({"at": at, "who": who, "what": what, "payload": payload})

    def notes(self) -> list[dict[str, Any]]:
        return list(self._notes)

    def close(self) -> None:
        self._events.clear()
