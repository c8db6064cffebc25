"""A difference between two settings or methods: its interval, its verdict and its sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from experiments.consequences import Consequences

Verdict = Literal["same", "different", "cannot tell"]
RECOVERY_MARGIN = 5.0
"""Points of recovery that do not matter between two settings (common practice, no source)."""


@dataclass(frozen=True)
class Difference:
    """Second minus first, with its 95 % interval, and what it means in words.

    For run times the difference is in minutes; its interval comes from the ratio.
    """

    what: str
    unit: str
    first: str
    second: str
    first_value: float
    second_value: float
    difference: float
    low: float
    high: float
    p_value: float
    verdict: Verdict
    sentence: str


@dataclass(frozen=True)
class Comparison:
    """All differences, and both methods in samples a week where one is in use today."""

    differences: tuple[Difference, ...]
    today: Consequences | None = None
    recommended: Consequences | None = None
    sentences: tuple[str, ...] = ()


def sentence_of(found: Difference, verdict: Verdict, margin: str) -> str:
    """The difference in words, ``margin`` being what does not matter."""
    words = {
        "same": f"the same within {margin}",
        "different": "different",
        "cannot tell": "not told apart by these runs",
    }[verdict]
    by = f"{found.difference:+.3g} {found.unit} ({found.low:+.3g} to {found.high:+.3g})"
    return (
        f"{found.what.capitalize()}: {found.second} against {found.first} is {words}: "
        f"{found.first_value:.3g} and {found.second_value:.3g}, difference {by}."
    )
