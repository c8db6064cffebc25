"""All dossiers of a store as one file, and back; restoring never overwrites anything."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from experiments.events import canonical
from experiments.service import Session, load
from experiments.storage.protocol import StoreError
from experiments.transfer import import_dossier, members, pack, zipped
from experiments.users import Role

SCHEMA_VERSION = 1
RESTORING: tuple[Role, ...] = ("enter", "approve")
"""A backup holds approvals too."""
MAX_BYTES = 2_000_000_000
_AGAIN = "Give a file that `boilwright backup` wrote."


@dataclass(frozen=True)
class Restored:
    """What a restore did: ids taken in, and why others could not be."""

    ids: tuple[str, ...]
    refused: dict[str, str]


def back_up(session: Session) -> bytes:
    """Every dossier and the store's log in one zip.

    Raises
    ------
    StoreError
        when the history of a dossier is broken: such a backup would hide it
    """
    session.user.must("read")
    files = {}
    for summary in sorted(session.store.summaries(), key=lambda s: s.id):
        files[f"dossiers/{summary.id}.zip"] = pack(load(session, summary.id))
    files["store_log.json"] = canonical(session.store.notes()).encode()
    content = {"schema_version": SCHEMA_VERSION,
               "files": {n: hashlib.sha256(d).hexdigest() for n, d in files.items()}}
    data = zipped({"backup.json": canonical(content).encode(), **files})
    session.store.note(session.clock(), session.user.name, "backup",
                       {"dossiers": len(files) - 1, "sha256": hashlib.sha256(data).hexdigest()})
    return data


def restore(session: Session, data: bytes) -> Restored:
    """Take every dossier of a backup into the store; those that are here gain what they lack.

    Raises
    ------
    StoreError
        when the file is no backup or does not match its checksums; nothing is taken in then
    """
    for role in RESTORING:
        session.user.must(role)
    files = members(data, MAX_BYTES, 4 * MAX_BYTES)
    try:
        content = json.loads(files.pop("backup.json"))
        found = {n: hashlib.sha256(d).hexdigest() for n, d in files.items()}
        version, listed = content["schema_version"], content["files"]
        notes = [_note(n) for n in json.loads(files.pop("store_log.json"))]
        packed = {n.removeprefix("dossiers/").removesuffix(".zip"): d for n, d in files.items()}
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise StoreError("The file is not a backup.", _AGAIN) from error
    if version != SCHEMA_VERSION:
        raise StoreError(f"The backup has schema version {str(version)[:20]}.",
                         "Restore it with a newer Boilwright.")
    if listed != found:
        raise StoreError("The backup does not match its checksums.",
                         "Use another copy; this one is damaged or was changed.")
    if not session.store.notes():
        for note in notes:
            session.store.note(*note)
    ids, refused = [], {}
    for name in sorted(packed):
        try:
            ids.append(import_dossier(session, packed[name]).id)
        except StoreError as error:
            refused[name] = error.message
    return Restored(tuple(ids), refused)


def _note(data: Mapping[str, Any]) -> tuple[str, str, str, dict[str, Any]]:
    """A line of the store's log, checked; ValueError when it is none."""
    texts = [data[k] for k in ("at", "who", "what")]
    if not all(isinstance(t, str) for t in texts) or not isinstance(data["payload"], dict):
        raise ValueError("a line of the log of the wrong form")
    return texts[0], texts[1], texts[2], data["payload"]
