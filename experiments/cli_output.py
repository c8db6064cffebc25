"""What commands give back, faults in words, progress on the terminal."""

from __future__ import annotations

import os
import shutil
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

from experiments.entries import EntryError
from experiments.faults import fault_sentences
from experiments.progress import Progress, unwatched

PATIENCE_S = 1.0
"""Work that takes longer shows a progress bar."""


@dataclass(frozen=True)
class Reply:
    """A command's answer for people and for machines; ``is_yes`` decides the exit code."""

    text: str
    data: Mapping[str, Any] = field(default_factory=dict)
    is_yes: bool = True


class Refusal(EntryError):
    """A refused entry with an answer for machines beside the words."""

    def __init__(self, message: str, cure: str, data: Mapping[str, Any]) -> None:
        super().__init__(message, cure)
        self.data = data


def faults_of(error: Exception) -> list[str]:
    """Sentences for a fault of the input; empty for an internal fault."""
    if isinstance(error, OSError) and error.filename is not None:
        return [f"{error.filename}: {error.strerror}. Check the path and your rights."]
    return fault_sentences(error)


def columns(rows: Sequence[Sequence[Any]], header: Sequence[str]) -> str:
    """Rows of text in aligned columns."""
    table = [list(header), *[["" if c is None else str(c) for c in row] for row in rows]]
    widths = [max(len(row[i]) for row in table) for i in range(len(header))]
    lines = ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip()
             for row in table]
    return "\n".join(lines)


def check_output(path: Path, endings: Sequence[str]) -> None:
    """Refuse an output that cannot be written before anything is computed for it."""
    if path.suffix.lower() not in endings:
        raise EntryError(f"{path.name!r} has no ending that can be written.",
                         f"Use one of {', '.join(endings)}.")
    folder = path.absolute().parent
    if not folder.is_dir():
        raise EntryError(f"There is no folder {str(folder)!r}.", "Make it first.")
    if path.is_dir():
        raise EntryError(f"{str(path)!r} is a folder.", "Give the name of a file.")
    if not os.access(folder if not path.exists() or path.is_file() else path, os.W_OK):
        raise EntryError(f"Nothing can be written to {str(path)!r}.", "Check your rights there.")


@contextmanager
def progress(title: str, stream: TextIO | None = None) -> Iterator[Progress]:
    """A progress bar on standard error for work that takes longer than a second.

    Nothing is drawn where standard error is not a terminal. The bar is drawn by a thread of
    its own, so that it moves also while one long step is computed.
    """
    out = stream if stream is not None else sys.stderr
    if not out.isatty():
        yield unwatched
        return
    from tqdm import tqdm

    size = shutil.get_terminal_size()  # 80 by 24 where the terminal does not say
    bar = tqdm(total=100, desc=title, leave=False, file=out, delay=PATIENCE_S,
               ncols=min(size.columns, 100), nrows=size.lines,
               bar_format="{desc}: {percentage:3.0f}% |{bar}| {elapsed}")
    done = threading.Event()

    def draw() -> None:
        while not done.wait(0.5 if bar.format_dict["elapsed"] > PATIENCE_S else PATIENCE_S):
            bar.refresh()

    def step(share: float, what: str) -> None:
        bar.set_description_str(what, refresh=False)
        bar.update(max(0.0, 100.0 * min(share, 1.0) - bar.n))

    drawer = threading.Thread(target=draw, daemon=True)
    drawer.start()
    try:
        yield step
    finally:
        done.set()
        drawer.join()
        bar.close()
