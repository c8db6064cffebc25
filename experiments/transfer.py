"""One dossier as one file: a zip of JSON and CSV with checksums, lossless and repeatable.

``dossier.json`` holds the schema version and every event; ``trials.csv`` is for people;
``CHECKSUMS`` lists SHA-256 of both. The same dossier gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from typing import Any, NamedTuple

from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.event_checks import check_events
from experiments.events import Event
from experiments.service import Session, append, load
from experiments.storage.protocol import StoreError, UnknownDossier
from experiments.trials_csv import trials_csv

SCHEMA_VERSION = 2
"""1 had no ``assumed`` in its first event; such files are still read."""
READABLE_VERSIONS = (1, 2)
MEMBERS = ("dossier.json", "trials.csv", "CHECKSUMS")
MAX_BYTES = 50_000_000
MAX_UNPACKED = 200_000_000
EPOCH = (1980, 1, 1, 0, 0, 0)
_AGAIN = "Give a file that `boilwright export` wrote."
_DAMAGED = "Export it again; this copy is damaged or was changed."


def export_dossier(session: Session, dossier_id: str) -> bytes:
    """The dossier as a zip file; noted in the store's log."""
    data = pack(load(session, dossier_id))
    session.store.note(session.clock(), session.user.name, "export",
                       {"dossier": dossier_id, "sha256": hashlib.sha256(data).hexdigest()})
    return data


class Imported(NamedTuple):
    """The dossier of an export file, and how many events the store did not have."""

    id: str
    new: int


def import_dossier(session: Session, data: bytes) -> Imported:
    """Add the dossier of an export file to the store.

    A dossier that is here already gets the events it lacks; one that went another way since
    is left alone. The hashes of a file do not prove who wrote it, so that bringing in what
    only an approver may do (an approval, an authorisation) needs that role.

    Raises
    ------
    StoreError
        for files that are damaged, altered or too large, or whose history is another one
    NotAllowed
        without the role that the events of the file need
    """
    session.user.must("enter")
    events = unpack(data)
    dossier = Dossier.from_events(events)
    held = _held(session, dossier.id)
    common = min(len(held), len(events))
    if held[:common] != events[:common]:
        raise StoreError(f"Dossier {dossier.id} in this store has another history.",
                         "Keep both: import the file into another store.")
    append(session, dossier, len(held))
    new = max(len(events) - len(held), 0)
    session.store.note(session.clock(), session.user.name, "import", {
        "dossier": dossier.id, "sha256": hashlib.sha256(data).hexdigest(),
        "events": new,
    })
    return Imported(dossier.id, new)


def pack(dossier: Dossier) -> bytes:
    """The bytes of the export file."""
    body = json.dumps(
        {"schema_version": SCHEMA_VERSION, "id": dossier.id,
         "events": [_as_data(e) for e in dossier.events]},
        sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False,
    )
    files = {"dossier.json": body.encode(), "trials.csv": trials_csv(dossier).encode()}
    sums = "".join(f"{hashlib.sha256(d).hexdigest()}  {n}\n" for n, d in files.items())
    return zipped({**files, "CHECKSUMS": sums.encode()})


def unpack(data: bytes) -> list[Event]:
    """The events of an export file, checked.

    Raises
    ------
    StoreError
        when anything about the file is not as export writes it
    """
    files = members(data, MAX_BYTES, MAX_UNPACKED)
    if sorted(files) != sorted(MEMBERS):
        raise StoreError("The file does not hold what an export holds.", _AGAIN)
    sums = "".join(
        f"{hashlib.sha256(files[n]).hexdigest()}  {n}\n" for n in MEMBERS if n != "CHECKSUMS"
    )
    if files["CHECKSUMS"].decode("utf-8", "replace") != sums:
        raise StoreError("The file does not match its checksums.", _DAMAGED)
    try:
        body = json.loads(files["dossier.json"])
        version = body["schema_version"]
        if version in READABLE_VERSIONS:
            events = [_event(e) for e in body["events"]]
            if check_events(events) != body["id"]:
                raise StoreError("The file names two different dossiers.", _DAMAGED)
            return events
    except EntryError as error:
        raise StoreError(error.message, error.cure) from error
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise StoreError("The file does not hold a dossier.", _AGAIN) from error
    raise StoreError(f"The file has schema version {str(version)[:20]}.",
                     "Import it with a newer Boilwright.")


def zipped(files: Mapping[str, bytes]) -> bytes:
    """A zip of these files that is the same for the same content."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            info = zipfile.ZipInfo(name, EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            archive.writestr(info, content)
    return buffer.getvalue()


def members(data: bytes, most_bytes: int, most_unpacked: int) -> dict[str, bytes]:
    """Files of a zip by name, read into memory only; bounded, no name twice.

    Raises
    ------
    StoreError
        when it is no zip, or too large, or damaged
    """
    if len(data) > most_bytes:
        raise StoreError(f"The file is larger than {most_bytes // 1_000_000} MB.", _AGAIN)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if sum(i.file_size for i in infos) > most_unpacked:
                raise StoreError("The file unpacks to far more than an export.", _AGAIN)
            if len({i.filename for i in infos}) < len(infos):
                raise StoreError("The file holds one name twice.", _AGAIN)
            return {i.filename: archive.read(i) for i in infos}
    except StoreError:
        raise
    except Exception as error:
        # a damaged archive can fail in any way the library did not foresee
        raise StoreError("The file is not a readable export file.", _AGAIN) from error


def _held(session: Session, dossier_id: str) -> list[Event]:
    try:
        return session.store.events(dossier_id)
    except UnknownDossier:
        return []


def _as_data(event: Event) -> dict[str, Any]:
    return {
        "seq": event.seq, "at": event.at, "who": event.who, "kind": event.kind,
        "payload": dict(event.payload), "previous_hash": event.previous_hash, "hash": event.hash,
    }


def _event(data: Mapping[str, Any]) -> Event:
    event = Event(**data)
    texts = (event.at, event.who, event.kind, event.previous_hash, event.hash)
    if type(event.seq) is not int or not all(isinstance(t, str) for t in texts) or not isinstance(
        event.payload, dict
    ):
        raise ValueError("an event of the wrong form")
    return event
