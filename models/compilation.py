"""How kernels are compiled, and where what was compiled is kept.

Numba keeps machine code beside a module until that module changes, but a kernel has the
kernels of other modules and their constants built in. So the cache has one folder for each
state of the source of all of them: an edit or an upgrade never runs old code.

Most kernels only work in arrays that their caller owns; leaving out the counting of
references there (``_nrt``) makes the run model twice as fast.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any, Final

import numba
from platformdirs import user_cache_dir

CONSTANTS: Final = ("parameters.py", "quantities.py", "spin.py", "system.py")
"""Modules without kernels whose constants are built into some."""


def source_digest(folder: Path) -> str:
    """Digest of the source that goes into kernels: modules that use this one, constants."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(folder.glob("*.py")):
        text = path.read_bytes()
        if path.name in CONSTANTS or b"models.compilation import" in text:
            digest.update(path.name.encode() + b"\0" + text)
    return digest.hexdigest()[:16]


def _cache_folder() -> Path:
    """Beside the source where that can be written, otherwise the user's cache."""
    folder = Path(__file__).parent
    chosen = os.environ.get("NUMBA_CACHE_DIR")
    if chosen:
        root = Path(chosen)
    elif os.access(folder, os.W_OK):
        root = folder / "__pycache__"
    else:
        root = Path(user_cache_dir("boilwright"))
    return root / f"kernels-{source_digest(folder)}"


numba.config.CACHE_DIR = str(_cache_folder())  # type: ignore[attr-defined]

_compile: Any = numba.njit  # its stubs do not know all options

kernel = _compile(cache=True, error_model="numpy", _nrt=False)
"""Decorator of a compiled function that makes no arrays."""

inlined = _compile(cache=True, error_model="numpy", _nrt=False, forceinline=True)
"""Decorator of one that is built into its callers."""

released = _compile(cache=True, error_model="numpy", nogil=True)
"""Decorator of one that makes arrays and lets other threads run."""
