"""How kernels are compiled, and where what was compiled is kept.

Numba keeps machine code beside a module until that module changes, but a kernel has the
kernels of other modules and their constants built in. So the cache has one folder for each
state of the source of all of them and of what they import: an edit never runs old code.

Most kernels only work in arrays that their caller owns; leaving out the counting of
references there (``_nrt``) makes the run model twice as fast.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable
from functools import wraps
from itertools import chain
from pathlib import Path
from threading import Lock
from typing import Any, Final, ParamSpec, TypeVar

import numba
from platformdirs import user_cache_dir

P = ParamSpec("P")
R = TypeVar("R")

IMPORTED: Final = re.compile(r"^\s*from models(?:\.(\w+) import| import (.+))", re.MULTILINE)


def compiled_from(folder: Path) -> dict[str, str]:
    """Source by name of the modules that use this one, and of all that these import."""
    sources = {path.stem: path.read_text("utf-8") for path in folder.glob("*.py")}
    needed: set[str] = set()
    found = {name for name, text in sources.items() if "models.compilation import" in text}
    while found:
        needed |= found
        told = chain(*(IMPORTED.findall(sources[name]) for name in found))
        words = {word for pair in told for word in re.findall(r"\w+", " ".join(pair))}
        found = words & sources.keys() - needed
    return {name: sources[name] for name in sorted(needed)}


def source_digest(folder: Path) -> str:
    """Digest of everything that goes into kernels."""
    digest = hashlib.sha256(numba.__version__.encode())
    for name, text in compiled_from(folder).items():
        digest.update(f"{name}\0{text}".encode())
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

arrays = _compile(cache=True, error_model="numpy")
"""Decorator of one that makes arrays."""

_in_several_threads = _compile(cache=True, error_model="numpy", parallel=True)
_one_at_a_time: Final = Lock()


def parallel(function: Callable[P, R]) -> Callable[P, R]:
    """Decorator of one that makes arrays in several threads; a second call waits for the first.

    Where OpenMP is missing, Numba ends the whole process when two threads make such a call at
    once, as two people do who open the wizard.
    """
    compiled = _in_several_threads(function)

    @wraps(function)
    def alone(*arguments: P.args, **named: P.kwargs) -> R:
        with _one_at_a_time:
            result: R = compiled(*arguments, **named)
        return result

    return alone
