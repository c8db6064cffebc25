"""Moments as instruments write them: how a column writes them, and their minutes.

A date and a time of day, or a time of day alone, on a clock of 24 hours or of twelve with am
and pm.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Final

STAMPS: Final = ("year first", "day first", "month first", "clock")
"""Ways to write a moment: 2026-03-02 08:15:30, 02.03.2026 08:15, 3/2/2026 8:15 PM, 08:15:30."""
DAY_MIN: Final = 24.0 * 60.0
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[ T,]+(.*))?$")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})[-/.](\d{4}|\d{2})(?:[ T,]+(.*))?$")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?(?:\s*([AaPp])\.?[Mm]\.?)?$")
_ZONE = re.compile(r"\s*(Z|[+-]\d{2}:?\d{2})$")


def stamp_of(cells: Sequence[str]) -> str:
    """How the first cells of a column write moments; "" for plain numbers or when unsettled.

    >>> stamp_of(["2026-03-02 08:15:30"]), stamp_of(["02.03.2026 08:15"]), stamp_of(["8:15 PM"])
    ('year first', 'day first', 'clock')
    >>> stamp_of(["3/2/2026 8:15"]), stamp_of(["3/14/2026 8:15 AM"]), stamp_of(["12.5"])
    ('', 'month first', '')
    """
    given = [c.strip() for c in cells if c.strip()]
    if not given:
        return ""
    if all(_YEAR_FIRST.match(c) for c in given):
        return "year first"
    if all(_CLOCK.match(c) for c in given):
        return "clock"
    parts = [_YEAR_LAST.match(c) for c in given]
    dates = [(int(p[1]), p[2], int(p[3])) for p in parts if p]
    if len(dates) < len(given):
        return ""
    if any(first > 12 for first, _, _ in dates) or all(sign == "." for _, sign, _ in dates):
        return "day first"
    return "month first" if any(second > 12 for _, _, second in dates) else ""


def looks_like_moment(cell: str) -> bool:
    """Whether a cell begins like a date or is a time of day, in whatever order.

    >>> looks_like_moment("3/2/2026 8:15"), looks_like_moment("8:15 am"), looks_like_moment("8.5")
    (True, True, False)
    """
    return any(p.match(cell) for p in (_YEAR_FIRST, _YEAR_LAST, _CLOCK))


def minutes_of(cell: str, way: str) -> float | None:
    """Minutes of a moment, from midnight where there is no date; None when it is no such one.

    >>> minutes_of("8:15:30 PM", "clock"), minutes_of("20:15:30", "clock")
    (1215.5, 1215.5)
    >>> minutes_of("3/2/2026 12:05 AM", "month first") == minutes_of("2026-03-02 0:05",
    ...                                                              "year first")
    True
    >>> minutes_of("13:05 PM", "clock"), minutes_of("31.02.2026 8:15", "day first")
    (None, None)
    """
    if way == "clock":
        return _time_of_day(cell)
    first = (_YEAR_FIRST if way == "year first" else _YEAR_LAST).match(cell)
    if first is None:
        return None
    if way == "year first":
        year, month, day, clock = int(first[1]), int(first[2]), int(first[3]), first[4]
        clock = _ZONE.sub("", clock or "")
    else:
        one, other, year, clock = int(first[1]), int(first[3]), int(first[4]), first[5] or ""
        day, month = (one, other) if way == "day first" else (other, one)
        year += 2000 if year < 100 else 0
    minutes = _time_of_day(clock.strip())
    try:
        return None if minutes is None else date(year, month, day).toordinal() * DAY_MIN + minutes
    except ValueError:
        return None


def _time_of_day(text: str) -> float | None:
    found = _CLOCK.match(text)
    if found is None:
        return None
    hour, minute = int(found[1]), int(found[2])
    second = float((found[3] or "0").replace(",", "."))
    if found[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[4] in "Pp" else 0)
    if hour > 23 or minute > 59 or second >= 60.0:
        return None
    return hour * 60.0 + minute + second / 60.0
