"""What the program writes while it works: one line an event, for people or for machines.

``BOILWRIGHT_LOG`` says which: ``text`` (default), ``json`` (one object a line, for a log
collector) or ``off``; ``BOILWRIGHT_LOG_LEVEL`` is a level of :mod:`logging`. Lines go to
standard error, never to standard output, which belongs to answers. Names of analytes,
results and free text of users are not logged: a log is no part of the record.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Final, TextIO

LOGGER: Final = logging.getLogger("boilwright")
_FORMATS: Final = ("text", "json", "off")


class JsonLines(logging.Formatter):
    """One JSON object a record: ``at`` (UTC, ISO 8601), ``level``, ``event`` and its facts."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        line.update(getattr(record, "facts", {}))
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


class TextLines(logging.Formatter):
    """The same for a reader: time, level, event, then ``name=value`` pairs."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)-7s %(message)s", datefmt="%H:%M:%S")

    def format(self, record: logging.LogRecord) -> str:
        line = super().format(record)
        facts: dict[str, object] = getattr(record, "facts", {})
        shown = {n: repr(v) if isinstance(v, str) else v for n, v in facts.items()}
        return line + "".join(f" {name}={value}" for name, value in shown.items())


def configure(stream: TextIO | None = None) -> None:
    """Send the program's log to ``stream`` (standard error) as the environment asks.

    Raises
    ------
    ValueError
        ``BOILWRIGHT_LOG`` or ``BOILWRIGHT_LOG_LEVEL`` holds something unknown.
    """
    form = os.environ.get("BOILWRIGHT_LOG", "text").lower()
    if form not in _FORMATS:
        raise ValueError(f"BOILWRIGHT_LOG is {form!r}: set it to one of {', '.join(_FORMATS)}.")
    level = os.environ.get("BOILWRIGHT_LOG_LEVEL", "INFO").upper()
    if level not in logging.getLevelNamesMapping():
        raise ValueError(f"BOILWRIGHT_LOG_LEVEL is {level!r}: set it to INFO, WARNING or ERROR.")
    for old in list(LOGGER.handlers):
        LOGGER.removeHandler(old)
    handler: logging.Handler = logging.NullHandler()
    if form != "off":
        handler = logging.StreamHandler(stream or sys.stderr)
        handler.setFormatter(JsonLines() if form == "json" else TextLines())
    LOGGER.addHandler(handler)
    LOGGER.setLevel(level)
    LOGGER.propagate = False


def note(event: str, level: int = logging.INFO, /, **facts: object) -> None:
    """Log an event with its facts."""
    LOGGER.log(level, event, extra={"facts": facts})


@contextmanager
def timed(event: str, **facts: object) -> Iterator[None]:
    """Log the event with how long its block took; a failure is logged and passed on."""
    start = time.perf_counter()
    try:
        yield
    except BaseException as fault:
        took = round(1000 * (time.perf_counter() - start))
        note(event, logging.WARNING, **facts, ms=took, failed=type(fault).__name__)
        raise
    note(event, logging.INFO, **facts, ms=round(1000 * (time.perf_counter() - start)))
