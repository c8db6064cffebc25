"""A difference between two settings or methods: its interval, its verdict and its sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from experiments.consequences import Consequences
from experiments.wording import capital

Verdict = Literal["same", "different", "cannot tell"]
Span = tuple[float, float]
RECOVERY_MARGIN = 5.0
"""Points of recovery that do not matter between two settings (common practice, no source)."""

ALLOWANCE = ("Each difference has a 95 % interval of its own; verdicts allow for everything that "
             "was looked at.")
"""Why a difference may not be told apart though its interval leaves zero out."""


@dataclass(frozen=True)
class Difference:
    """Second minus first, with its 95 % interval, and what it means in words.

    For run times the difference is in minutes; its interval comes from the ratio.

    Where readings lie below their limit, ``first_span`` and ``second_span`` hold the lowest and
    the highest mean that they allow, and the interval holds for any of them. A value, and the
    difference, that they leave open by more than :data:`RECOVERY_MARGIN` was not measured: nan.
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
    first_span: Span | None = None
    second_span: Span | None = None

    @property
    def is_open(self) -> bool:
        """Whether readings below their limit had a part in it."""
        return self.first_span is not None


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
    ends = f"{found.low:+.3g} to {found.high:+.3g}"
    by = (f"{ends} {found.unit}" if math.isnan(found.difference) else
          f"{found.difference:+.3g} {found.unit} ({ends})")
    below = (" Readings below their limit count as anything from zero to that limit."
             if found.is_open else "")
    return (
        f"{capital(found.what)}: {found.second} against {found.first} is {words}: "
        f"{value_words(found.first_value, found.first_span)} and "
        f"{value_words(found.second_value, found.second_span)}, difference {by}.{below}"
    )


def value_words(value: float, span: Span | None) -> str:
    """A mean, or from where to where it may lie when readings below a limit leave it open.

    >>> value_words(92.34, None), value_words(math.nan, (0.0, 50.0))
    ('92.3', '0 to 50')
    """
    if span is None or not math.isnan(value):
        return f"{value:.3g}"
    return f"{span[0]:.3g} to {span[1]:.3g}"


def with_spans(
    middle: Difference, ends: Sequence[Difference], first: Span, second: Span
) -> Difference:
    """A difference of recoveries that holds for every mean that its readings allow.

    Parameters
    ----------
    middle : with readings below a limit at half of it
    ends : the least and the greatest difference that such readings allow
    first, second : lowest and highest mean of either side, in percent
    """
    if first[0] == first[1] and second[0] == second[1]:
        return middle
    wide = [span[1] - span[0] > RECOVERY_MARGIN for span in (first, second)]
    total = first[1] - first[0] + second[1] - second[0]
    one_way = ends[0].difference * ends[1].difference > 0.0
    agree = ends[0].verdict == ends[1].verdict and (one_way or ends[0].verdict == "same")
    return replace(
        middle, first_span=first, second_span=second,
        first_value=math.nan if wide[0] else middle.first_value,
        second_value=math.nan if wide[1] else middle.second_value,
        difference=math.nan if total > RECOVERY_MARGIN else middle.difference,
        low=min(d.low for d in ends), high=max(d.high for d in ends),
        p_value=max(d.p_value for d in ends) if one_way else 1.0,
        verdict=ends[0].verdict if agree else "cannot tell",
    )
