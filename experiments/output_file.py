"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that its name never stands for half of it, whatever stops the program.

    What was there before stays until the new file is whole on the disk.

    Raises
    ------
    OSError
        naming ``path``, when it cannot be written
    """
    try:
        if path.exists() and not path.is_file():  # a pipe or a device; a folder is refused
            path.write_bytes(data)
            return
        target = path.resolve()
        beside = target.with_name(f".{target.name[:200]}.{os.getpid()}")
        try:
            with beside.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(target)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error
