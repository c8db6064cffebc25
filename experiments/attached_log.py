"""An instrument's log as it stands in the record: columns, moments, checksum; and back again.

A column is kept whole, as the base64 of the zlib-compressed 64-bit little-endian floats of its
readings in contract units; ``data_sha256`` is over the columns' names and bytes in order of the
names. What comes from elsewhere is unpacked within bounds and checked.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import math
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np

from experiments.entries import EntryError, checked_text
from experiments.job import EvaporationJob, Setting
from experiments.log_columns import NEEDED, QUANTITIES, ColumnChoice, checked
from experiments.log_file import MOST_READINGS
from experiments.log_reading import InstrumentLog
from experiments.physics import as_set_si
from models.log_marks import find_marks
from models.quantities import MINUTE
from models.run_log import LogMarks, Mark
from models.system import Array

MOMENT_NAMES = {
    "evacuation": "evacuation begins", "boiling": "boiling begins",
    "half": "half of the heat gone", "most": "nine tenths of it gone",
    "end_pressure": "end pressure reached", "end_point": "end point", "run_time": "run time",
}
MOMENTS = tuple(MOMENT_NAMES)
MARKED = {"boiling": "boiling begins", "end_point": "end point", "run_time": "run ends"}
"""Moments that are marked where a log is drawn."""
MOST_NOTES = 40
_DAMAGED = "Export it again; this copy is damaged or was changed."


def log_payload(
    trial_id: str, log: InstrumentLog, marks: LogMarks, file_name: str, file_sha256: str,
    lid_closed_min: float,
) -> dict[str, Any]:
    """What the record keeps of a log."""
    columns = {name: values.astype("<f8") for name, values in log.columns.items()}
    return {
        "trial": trial_id,
        "file": checked_text(file_name, "The name of the file")[:200],
        "file_sha256": file_sha256,
        "columns": {q: list(c) for q, c in log.choices.items()},
        "lid_closed_min": lid_closed_min,
        "readings": len(columns["time"]),
        "data": {name: _packed(values) for name, values in columns.items()},
        "data_sha256": _digest(columns),
        "notes": list(log.notes)[:MOST_NOTES],
        "moments": moments_of(marks),
        "lulls_min": [[a / MINUTE, b / MINUTE] for a, b in marks.lulls[:MOST_NOTES]],
        "findings": list(marks.findings)[:MOST_NOTES],
    }


def log_of(payload: Mapping[str, Any]) -> InstrumentLog:
    """The log that a payload holds.

    Raises
    ------
    EntryError
        when it does not hold together
    """
    count = payload["readings"]
    packed = payload["data"]
    if type(count) is not int or not 0 < count <= MOST_READINGS or not isinstance(packed, dict):
        raise EntryError("The log has no readings.", _DAMAGED)
    if not set(NEEDED) <= set(packed) <= set(QUANTITIES):
        raise EntryError("The log has not the columns of a log.", _DAMAGED)
    columns = {name: _unpacked(text, count) for name, text in packed.items()}
    time = columns["time"]
    if _digest(columns) != payload["data_sha256"] or not np.isfinite(time).all() or (
        np.diff(time) < 0.0
    ).any() or any(np.isinf(c).any() for c in columns.values()):
        raise EntryError("The readings of the log do not match their checksum.", _DAMAGED)
    choices = checked({q: ColumnChoice(*c) for q, c in payload["columns"].items()},
                      [str(c[0]) for c in payload["columns"].values()])
    if set(choices) != set(columns):
        raise EntryError("The log names other columns than it holds.", _DAMAGED)
    return InstrumentLog(columns, choices, tuple(payload["notes"]))


def check_log(payload: Mapping[str, Any]) -> None:
    """Refuse a payload from elsewhere that is not one of :func:`log_payload`."""
    log_of(payload)
    lists = [payload[name] for name in ("notes", "findings", "lulls_min")]
    if not all(isinstance(x, list) and len(x) <= MOST_NOTES for x in lists):
        raise EntryError("The log has notes that are none.", _DAMAGED)
    texts = [payload["file"], payload["file_sha256"], *payload["notes"], *payload["findings"],
             *(str(part) for choice in payload["columns"].values() for part in choice)]
    numbers = [payload["lid_closed_min"], *(x for a, b in payload["lulls_min"] for x in (a, b))]
    for name in MOMENTS:
        moment = payload["moments"][name]
        values = [moment[k] for k in ("min", "low", "high")]
        told = [v for v in values if v is not None]
        if told and (len(told) < 3 or not values[1] <= values[0] <= values[2]):
            raise EntryError("A moment of the log is half told.", _DAMAGED)
        numbers += told
        texts.append(moment["words"])
    if not all(isinstance(t, str) for t in texts) or not all(
        type(n) in (int, float) and math.isfinite(n) for n in numbers
    ):
        raise EntryError("The log holds no plain text and numbers.", _DAMAGED)
    for text in texts:
        checked_text(text, "A note of the log")


def moments_of(marks: LogMarks) -> dict[str, dict[str, Any]]:
    """Each moment as ``min``, ``low``, ``high`` (from lid-close; None: cannot tell), ``words``."""
    return {name: _moment(getattr(marks, name)) for name in MOMENTS}


def marks_of(
    job: EvaporationJob, setting: Setting, log: InstrumentLog, lid_closed_min: float
) -> LogMarks:
    """The moments that a log shows of a run at that setting."""
    return find_marks(log.run_log(lid_closed_min), as_set_si(job, setting))


def _moment(mark: Mark) -> dict[str, Any]:
    def minutes(value: float | None) -> float | None:
        return None if value is None else value / MINUTE

    return {"min": minutes(mark.time), "low": minutes(mark.low), "high": minutes(mark.high),
            "words": mark.words}


def _packed(values: Array) -> str:
    return base64.b64encode(zlib.compress(values.tobytes(), 9)).decode("ascii")


def _unpacked(text: Any, count: int) -> Array:
    size = 8 * count
    try:
        opened = zlib.decompressobj()
        raw = opened.decompress(base64.b64decode(text, validate=True), size + 1)
    except (binascii.Error, zlib.error, TypeError, ValueError) as error:
        raise EntryError("The readings of the log cannot be unpacked.", _DAMAGED) from error
    if len(raw) != size or opened.unconsumed_tail:
        raise EntryError("The log holds another number of readings than it says.", _DAMAGED)
    return np.frombuffer(raw, dtype="<f8").astype(float)


def _digest(columns: Mapping[str, Array]) -> str:
    digest = hashlib.sha256()
    for name in sorted(columns):
        digest.update(name.encode() + b"\0" + columns[name].astype("<f8").tobytes())
    return digest.hexdigest()
