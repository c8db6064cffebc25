"""One dossier as one file: a zip of JSON and CSV with checksums, lossless and repeatable.

``dossier.json`` holds the schema version and every event; ``trials.csv`` is for people;
``CHECKSUMS`` lists SHA-256 of both. The same dossier gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from typing import Any

from experiments.dossier import Dossier
from experiments.events import Event, verify_chain
from experiments.service import Session, load, summarise
from experiments.sheet_cells import safe_cell
from experiments.storage.protocol import StoreError, UnknownDossier

SCHEMA_VERSION = 1
READABLE_VERSIONS = (1,)
MEMBERS = ("dossier.json", "trials.csv", "CHECKSUMS")
MAX_BYTES = 50_000_000
MAX_UNPACKED = 200_000_000
EPOCH = (1980, 1, 1, 0, 0, 0)


def export_dossier(session: Session, dossier_id: str) -> bytes:
    """The dossier as a zip file; noted in the store's log."""
    dossier = load(session, dossier_id)
    data = pack(dossier)
    session.store.note(session.clock(), session.user.name, "export",
                       {"dossier": dossier_id, "sha256": hashlib.sha256(data).hexdigest()})
    return data


def pack(dossier: Dossier) -> bytes:
    """The bytes of the export file."""
    events = [_event(e) for e in dossier.events]
    body = json.dumps({"schema_version": SCHEMA_VERSION, "id": dossier.id, "events": events},
                      sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False)
    files = {"dossier.json": body.encode(), "trials.csv": trials_csv(dossier).encode()}
    sums = "".join(f"{hashlib.sha256(d).hexdigest()}  {n}\n" for n, d in files.items())
    files["CHECKSUMS"] = sums.encode()
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in MEMBERS:
            info = zipfile.ZipInfo(name, EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            archive.writestr(info, files[name])
    return buffer.getvalue()


def import_dossier(session: Session, data: bytes) -> str:
    """Add the dossier of an export file to the store; returns its id.

    Raises
    ------
    StoreError
        for files that are damaged, altered, too large, or already here
    """
    session.user.must("enter")
    events = unpack(data)
    dossier = Dossier.from_events(events)
    try:
        held = session.store.events(dossier.id)
    except UnknownDossier:
        held = []
    if held:
        raise StoreError(f"Dossier {dossier.id} is already in this store.",
                         "Nothing needs to be imported.")
    session.store.append(dossier.id, events, 0, summarise(dossier))
    session.store.note(session.clock(), session.user.name, "import",
                       {"dossier": dossier.id, "sha256": hashlib.sha256(data).hexdigest()})
    return dossier.id


def unpack(data: bytes) -> list[Event]:
    """The events of an export file, checked."""
    files = _members(data)
    for line in files["CHECKSUMS"].decode("utf-8", "replace").splitlines():
        digest, _, name = line.partition("  ")
        if name not in files or hashlib.sha256(files[name]).hexdigest() != digest:
            raise StoreError(f"{name[:40]!r} in the file does not match its checksum.",
                             "Export it again; this copy is damaged or was changed.")
    try:
        body = json.loads(files["dossier.json"])
        version = body["schema_version"]
        if version not in READABLE_VERSIONS:
            raise StoreError(f"The file has schema version {version!r}.",
                             "Import it with a newer Boilwright.")
        events = [Event(**e) for e in body["events"]]
        if not verify_chain(events).holds or not events:
            raise StoreError("The history in the file does not hold together.",
                             "Export it again; this copy is damaged or was changed.")
        if Dossier.from_events(events).id != body["id"]:
            raise StoreError("The file names two different dossiers.", "Export it again.")
    except StoreError:
        raise
    except Exception as error:  # anything can be in a foreign file
        raise StoreError("The file does not hold a dossier.",
                         "Give a file that `boilwright export` wrote.") from error
    return events


def _members(data: bytes) -> dict[str, bytes]:
    if len(data) > MAX_BYTES:
        raise StoreError("The file is larger than 50 MB.", "Give a file that export wrote.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if sorted(i.filename for i in infos) != sorted(MEMBERS):
                raise StoreError("The file does not hold what an export holds.",
                                 "Give a file that `boilwright export` wrote.")
            if sum(i.file_size for i in infos) > MAX_UNPACKED:
                raise StoreError("The file unpacks to more than 200 MB.",
                                 "Give a file that `boilwright export` wrote.")
            return {i.filename: archive.read(i) for i in infos}
    except StoreError:
        raise
    except Exception as error:  # zipfile raises many kinds on damaged files
        raise StoreError("The file is not a readable export file.",
                         "Give a file that `boilwright export` wrote.") from error


def _event(event: Event) -> dict[str, Any]:
    return {
        "seq": event.seq, "at": event.at, "who": event.who, "kind": event.kind,
        "payload": dict(event.payload), "previous_hash": event.previous_hash, "hash": event.hash,
    }


def trials_csv(dossier: Dossier) -> str:
    """All trials in the columns of the trial table, one row a vessel."""
    import csv

    job = dossier.job
    names = [a.name for a in job.analytes]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([safe_cell(c) for c in (
        "trial", "run_order", *(f.name for f in job.factors), "vessel", "run_time_min",
        "outcome", *(f"recovery_percent:{n}" for n in names), "remark",
    )])
    for trial in dossier.trials:
        for row in _trial_rows(dossier, trial.id):
            writer.writerow([safe_cell(c) for c in row])
    return buffer.getvalue()


def _trial_rows(dossier: Dossier, trial_id: str) -> list[list[Any]]:
    trial, job = dossier.trial(trial_id), dossier.job
    head = [trial.id, trial.run_order, *(trial.setting[f.name] for f in job.factors)]
    result = trial.result
    if result is None:
        return [[*head, "", "", "", *("" for _ in job.analytes), trial.state]]
    time = "" if result.run_time_min is None else result.run_time_min
    mean_only = all(result.is_mean.get(a.name, True) for a in job.analytes)
    rows = []
    for vessel in [None] if mean_only else range(job.equipment.vessels):
        cells: list[Any] = []
        for analyte in job.analytes:
            readings = result.recovery.get(analyte.name, ())
            index = 0 if vessel is None or result.is_mean.get(analyte.name) else vessel
            reading = readings[index] if index < len(readings) else None
            cells.append("" if reading is None else str(reading))
        number = "" if vessel is None else vessel + 1
        rows.append([*head, number, time, result.outcome, *cells, result.remark])
    return rows
