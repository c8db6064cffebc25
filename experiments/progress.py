"""How work that takes a while tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with the share done, 0 to 1, and what is being done; may raise to stop the work."""


def unwatched(share: float, what: str) -> None:
    """Take the progress of work that nobody watches."""
    del share, what
