"""Compute a recommendation again from a report or an exported file, and compare it.

A report carries the whole record and its own numbers: as attachments in the PDF, as links to
download in the HTML page. Both are found in the file as it is; nothing of it is run.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from experiments.answers import Answer
from experiments.dossier import Dossier
from experiments.events import canonical
from experiments.progress import Progress
from experiments.report.record_part import software_versions
from experiments.storage.protocol import StoreError
from experiments.transfer import MAX_BYTES, unpack

SAME_PROBABILITY = 0.005
"""Probabilities closer than this are the same; other processors round differently."""
ZIP, PDF = b"PK\x03\x04", b"%PDF"
_STREAM = re.compile(rb"stream\r?\n")
_LINK = re.compile(rb'href="data:[\w/.+-]+;base64,([A-Za-z0-9+/=]+)"')


@dataclass(frozen=True)
class Recomputed:
    """The answer of now beside the reported one; ``differences`` is empty when they agree.

    ``reported`` is None when no numbers of a report were given to compare with; ``notes`` say
    what may explain a difference.
    """

    dossier: Dossier
    answer: Answer
    reported: Mapping[str, Any] | None
    differences: tuple[str, ...]
    notes: tuple[str, ...]


def recompute(*files: bytes, progress: Progress | None = None) -> Recomputed:
    """Compute the recommendation again.

    Parameters
    ----------
    files : a report (PDF or HTML), or an exported dossier with or without the report or its
        ``report.json``
    progress : called with the share done; may raise to cancel

    Raises
    ------
    StoreError
        when no file holds a dossier, or its record or the report's numbers were altered
    """
    record: bytes | None = None
    numbers: Mapping[str, Any] | None = None
    for data in files:
        for part in _parts(data):
            if part.startswith(ZIP):
                record = record if record is not None else part
            else:
                numbers = numbers if numbers is not None else _numbers(part)
    if record is None:
        raise StoreError("None of the files holds a dossier.",
                         "Give a report as PDF or HTML, or what `boilwright export` wrote.")
    dossier = Dossier.from_events(unpack(record))
    answer = dossier.recommend(progress=progress)
    if numbers is None:
        return Recomputed(dossier, answer, None, (), ())
    return Recomputed(dossier, answer, numbers["answer"], _differences(dossier, answer, numbers),
                      _notes(numbers))


def _parts(data: bytes) -> Iterator[bytes]:
    """The export file and the numbers that a file is or carries."""
    if len(data) > MAX_BYTES:
        raise StoreError("The file is larger than a report or an export.", "Give another one.")
    if data.startswith(ZIP):
        yield data
        return
    held = _streams(data) if data.startswith(PDF) else (
        [data] if data.lstrip().startswith(b"{") else _links(data))
    for part in held:
        if part.startswith(ZIP) or _numbers(part) is not None:
            yield part


def _streams(data: bytes) -> Iterator[bytes]:
    """Every stream of a PDF, unpacked; a zip file lies in it as it is."""
    for mark in _STREAM.finditer(data):
        if data.startswith(ZIP, mark.end()):
            yield data[mark.end() : data.find(b"\nendstream", mark.end())]
            continue
        try:
            yield zlib.decompressobj().decompress(data[mark.end():], MAX_BYTES)
        except zlib.error:
            continue


def _links(data: bytes) -> Iterator[bytes]:
    """Everything a page offers for download."""
    for mark in _LINK.finditer(data):
        try:
            yield base64.b64decode(mark[1], validate=True)
        except binascii.Error:
            continue


def _numbers(part: bytes) -> Mapping[str, Any] | None:
    """The numbers of a report, None when it is something else.

    Raises
    ------
    StoreError
        when they are such numbers but do not match their own check sum
    """
    if not part.lstrip().startswith(b"{"):
        return None
    try:
        data = json.loads(part)
    except ValueError:
        return None
    if not {"answer", "digest", "last_record"} <= data.keys():
        return None
    rest = {k: v for k, v in data.items() if k != "digest"}
    if hashlib.sha256(canonical(rest).encode()).hexdigest() != data["digest"]:
        raise StoreError("The numbers of the report do not match their check sum.",
                         "Ask its author for the file as it was signed.")
    return rest


def _differences(
    dossier: Dossier, answer: Answer, numbers: Mapping[str, Any]
) -> tuple[str, ...]:
    last, said = numbers["last_record"], numbers["answer"]
    found = []
    if (dossier.events[-1].seq, dossier.events[-1].hash) != (last["seq"], last["hash"]):
        found.append(
            f"The report rests on record {last['seq']} ({last['hash'][:10]}), the file ends with "
            f"record {dossier.events[-1].seq} ({dossier.events[-1].hash[:10]}).")
    for name, now in (("status", answer.status), ("setting", answer.setting)):
        if said[name] != now:
            found.append(f"The {name} is now {now}, the report says {said[name]}.")
    if abs(said["probability"] - answer.probability) > SAME_PROBABILITY:
        found.append(f"The probability is now {100 * answer.probability:.1f} %, the report says "
                     f"{100 * said['probability']:.1f} %.")
    return tuple(found)


def _notes(numbers: Mapping[str, Any]) -> tuple[str, ...]:
    """Versions that are not those of the report."""
    here = software_versions()
    return tuple(
        f"The report was made with {name} {version}, this is {name} {here.get(name, 'none')}."
        for name, version in numbers.get("software", {}).items() if here.get(name) != version
    )
