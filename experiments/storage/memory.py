"""A store in memory, for tests and scripts."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

from experiments.events import Event
from experiments.storage.protocol import (
    Build,
    Draft,
    StaleRevision,
    Summary,
    UnknownDossier,
    check_order,
)


class MemoryStore:
    """Keeps everything until the process ends."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._events: dict[str, list[Event]] = {}
        self._summaries: dict[str, Summary] = {}
        self._notes: list[dict[str, Any]] = []
        self._drafts: dict[tuple[str, str], Draft] = {}

    def extend(self, dossier_id: str, after: int, build: Build) -> int:
        with self._lock:
            held = self._events.get(dossier_id, [])
            if not held and after > 0:
                raise UnknownDossier(dossier_id)
            if len(held) < after:
                raise StaleRevision(())
            events, summary = build(held[after:])
            if not events:
                return len(held)
            check_order(events, len(held))
            self._events[dossier_id] = [*held, *events]
            self._summaries[dossier_id] = summary
            return len(self._events[dossier_id])

    def events(self, dossier_id: str) -> list[Event]:
        with self._lock:
            if dossier_id not in self._events:
                raise UnknownDossier(dossier_id)
            return list(self._events[dossier_id])

    def summaries(self) -> list[Summary]:
        with self._lock:
            held = list(self._summaries.values())
        return sorted(held, key=lambda s: (s.updated, s.id), reverse=True)

    def note(self, at: str, who: str, what: str, payload: Mapping[str, Any]) -> None:
        self._notes.append({"at": at, "who": who, "what": what, "payload": dict(payload)})

    def notes(self) -> list[dict[str, Any]]:
        return list(self._notes)

    def save_draft(self, draft: Draft) -> None:
        with self._lock:
            self._drafts.pop((draft.owner, draft.name), None)
            if draft.content:
                self._drafts[draft.owner, draft.name] = draft

    def drafts(self, owner: str) -> list[Draft]:
        with self._lock:
            own = [d for d in self._drafts.values() if d.owner == owner]
        return sorted(own, key=lambda d: (d.at, d.name), reverse=True)

    def close(self) -> None:
        self._events.clear()
