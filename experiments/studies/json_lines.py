"""Rows of a study in a file, one line of JSON each, so that a stopped study goes on from there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def read_rows(path: Path) -> list[dict[str, Any]]:
    """The rows so far; none while there is no file."""
    text = path.read_text("utf-8") if path.exists() else ""
    return [json.loads(line) for line in text.splitlines()]


def append_row(path: Path, row: Mapping[str, Any]) -> str:
    """Add a row; its line."""
    line = json.dumps(row)
    with path.open("a", encoding="utf-8") as file:
        file.write(line + "\n")
    return line
