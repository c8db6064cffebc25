"""Records as plain JSON data."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, is_dataclass
from typing import Any


def plain(value: Any) -> Any:
    """A record, a mapping, a list or an array as JSON data; numbers that do not exist are None.

    >>> plain({"mean": math.nan, "ends": (1, 2.5)})
    {'mean': None, 'ends': [1, 2.5]}
    """
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if hasattr(value, "tolist"):  # an array or a number of NumPy
        return plain(value.tolist())
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
