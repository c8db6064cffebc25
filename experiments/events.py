"""Append-only events of a dossier, linked by hashes.

Each event carries the hash of the one before it, so that a changed, missing or moved event
shows (a hash chain over canonical JSON, SHA-256).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

GENESIS = "0" * 64
KINDS = (
    "started", "job changed", "proposed", "entered", "withdrawn", "recorded", "corrected",
    "excluded", "included", "recommended", "verification planned", "verification recorded",
    "verification corrected", "state changed", "trace attached", "authorised", "note",
    "carried over", "trace removed",
)


@dataclass(frozen=True)
class Event:
    """One thing that happened: what, when (UTC, ISO 8601), who, and its place in the chain."""

    seq: int
    at: str
    who: str
    kind: str
    payload: Mapping[str, Any]
    previous_hash: str
    hash: str


@dataclass(frozen=True)
class ChainCheck:
    """Whether a chain holds; ``first_broken`` is the seq of the first event that does not."""

    holds: bool
    events: int
    first_broken: int | None


def canonical(data: Any) -> str:
    """JSON with one spelling: sorted keys, no spaces, no NaN."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False,
                      ensure_ascii=False)


def link(
    previous: Event | None, at: str, who: str, kind: str, payload: Mapping[str, Any]
) -> Event:
    """The event that follows ``previous``."""
    if kind not in KINDS:
        raise ValueError(f"unknown event kind {kind!r}")
    seq = previous.seq + 1 if previous is not None else 1
    before = previous.hash if previous is not None else GENESIS
    return Event(seq, at, who, kind, payload, before, _digest(seq, at, who, kind, payload, before))


def last_of(events: Sequence[Event], *kinds: str, trial: str | None = None) -> Event | None:
    """The last event of these kinds, of one trial where that is named; None: there is none."""
    return next((e for e in reversed(events) if e.kind in kinds
                 and (trial is None or e.payload.get("trial") == trial)), None)


def verify_chain(events: Iterable[Event], after: Event | None = None) -> ChainCheck:
    """Recompute every hash and link, from the first event or those that follow ``after``."""
    before, held = (after.hash, after.seq) if after is not None else (GENESIS, 0)
    count = held
    for count, event in enumerate(events, start=held + 1):
        own = _digest(event.seq, event.at, event.who, event.kind, event.payload, before)
        if event.seq != count or event.previous_hash != before or event.hash != own:
            return ChainCheck(False, count, count)
        before = event.hash
    return ChainCheck(True, count, None)


def _digest(
    seq: int, at: str, who: str, kind: str, payload: Mapping[str, Any], before: str
) -> str:
    text = canonical([seq, at, who, kind, payload, before])
    return hashlib.sha256(text.encode()).hexdigest()
