"""Trials: proposed settings and what came back from the bench. Frozen records."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from experiments.job import Setting

Outcome = Literal["finished", "not dry", "boil-over", "aborted"]
OUTCOMES: tuple[Outcome, ...] = ("finished", "not dry", "boil-over", "aborted")
FAILING: tuple[Outcome, ...] = ("not dry", "boil-over")
"""Outcomes of a run that its setting, not the analyst, brought about."""
SAME_MIN = 0.05
"""Run times, in min, that differ by less are the same."""


@dataclass(frozen=True)
class Recovery:
    """One recovery reading in percent of the spike; ``censored`` means "below value"."""

    percent: float
    censored: bool = False

    def __str__(self) -> str:
        return f"<{self.percent:g}" if self.censored else f"{self.percent:g}"


@dataclass(frozen=True)
class Result:
    """What one run gave.

    ``recovery[analyte]`` follows vessel order 1..n with None for "not measured"; when
    ``is_mean[analyte]`` the single entry is the mean over all vessels. ``corrected``
    marks recoveries computed against a standard added before evaporation (kept out of
    the fit).
    """

    run_time_min: float | None
    outcome: Outcome = "finished"
    recovery: dict[str, tuple[Recovery | None, ...]] = field(default_factory=dict)
    is_mean: dict[str, bool] = field(default_factory=dict)
    remark: str = ""
    day: str = ""
    corrected: bool = False

    @property
    def day_key(self) -> str:
        """The day as it is told from other days; "" where it is not known."""
        return day_key(self.day)

    @property
    def has_readings(self) -> bool:
        """Whether any recovery was measured."""
        return any(r is not None for readings in self.recovery.values() for r in readings)

    def mean_span(self, analyte: str) -> tuple[float, float]:
        """Lowest and highest mean of an analyte, in percent, that readings below a limit allow.

        The two are the same where none is below its limit, and nan where nothing was measured.
        """
        found = [r for r in self.recovery.get(analyte, ()) if r is not None]
        if not found:
            return math.nan, math.nan
        lowest = sum(0.0 if r.censored else r.percent for r in found) / len(found)
        return lowest, sum(r.percent for r in found) / len(found)


class Moment(NamedTuple):
    """A moment in min from lid-close, and the range in which it lies evenly anywhere."""

    min: float
    low: float
    high: float

    @property
    def middle(self) -> float:
        """Of the range."""
        return 0.5 * (self.low + self.high)

    @property
    def variance(self) -> float:
        """Of the moment within its range, min2."""
        return (self.high - self.low) ** 2 / 12.0


@dataclass(frozen=True)
class LogReading:
    """What the log of a run's instruments tells; None: cannot tell.

    ``half`` and ``most``: half and nine tenths of the heat have gone to the condenser.
    """

    boiling: Moment | None = None
    half: Moment | None = None
    most: Moment | None = None
    run_time: Moment | None = None


class RunOfPlan(NamedTuple):
    """A verification run: the number of its plan's entry in the history, and its id there."""

    plan: int
    run: str


@dataclass(frozen=True)
class Trial:
    """A setting, why it is worth running, and its result once recorded."""

    id: str
    setting: Setting
    reason: str = ""
    result: Result | None = None
    state: Literal["pending", "recorded", "withdrawn", "excluded"] = "pending"
    origin: Literal["proposed", "today", "entered", "robustness", "verification"] = (
        "proposed")
    run_time_min: dict[str, float] = field(default_factory=dict)  # forecast when proposed
    recovery_percent: dict[str, dict[str, float]] = field(default_factory=dict)
    log: LogReading | None = None
    run_of: RunOfPlan | None = None  # where it was taken over from a failed verification

    def apart(self) -> Trial:
        """The same with a setting of its own, to be changed without changing this one's."""
        return replace(self, setting=dict(self.setting))


def day_key(day: str) -> str:
    """What two spellings of one day share: neither case nor spaces make another day."""
    return " ".join(day.split()).casefold()


def is_same_time(one: float, other: float) -> bool:
    """Whether two run times, in min, are the same."""
    return abs(one - other) <= SAME_MIN
