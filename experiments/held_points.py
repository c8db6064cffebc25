"""What was worked out at settings, held as long as there is room for it."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from typing import Generic, Protocol, TypeVar


class Sized(Protocol):
    """Something that tells how many bytes it takes."""

    @property
    def size(self) -> int:
        """Bytes."""
        ...


T = TypeVar("T", bound=Sized)
_LOCK = threading.Lock()


class HeldPoints(Generic[T]):
    """Values of about one size by key; those asked for longest ago make room for new ones.

    Parameters
    ----------
    room : bytes that the values may take
    """

    def __init__(self, room: int) -> None:
        self._room = room
        self._held: dict[object, T] = {}

    def at(self, keys: Iterable[object]) -> dict[object, T]:
        """The values that are held, of these keys."""
        with _LOCK:
            return {k: self._held[k] for k in keys if k in self._held}

    def keep(self, values: Mapping[object, T]) -> None:
        """Hold values as the last asked for."""
        largest = max((v.size for v in values.values()), default=1)
        with _LOCK:
            for key, value in values.items():
                self._held.pop(key, None)
                self._held[key] = value
            for key in list(self._held)[: max(len(self._held) - self._room // largest, 0)]:
                del self._held[key]
