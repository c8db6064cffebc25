"""How long a search for faults takes: BOILWRIGHT_FUZZ=10 tries ten times as many examples."""

from __future__ import annotations

import os


def examples(usual: int) -> int:
    """So many examples, times what the environment asks for."""
    return usual * int(os.environ.get("BOILWRIGHT_FUZZ", "1"))
