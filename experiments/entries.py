"""Checking what an analyst enters for a trial: settings, times, outcomes, recoveries."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from numbers import Integral, Real
from typing import Any

import numpy as np

from experiments.job import EvaporationJob, Setting
from experiments.job_fields import NOT_TEXT, Faults, Table, shown
from experiments.job_file import check_possible, read_setting
from experiments.trials import OUTCOMES, Recovery, Result, day_key
from models.errors import Mendable

HIGHEST_RECOVERY = 1000.0
SHORTEST_TIME_MIN, LONGEST_TIME_MIN = 0.01, 1e5
LONGEST_TEXT = 2000
LONGEST_REMARK = 20_000
"""Characters of the remark of a trial, which holds those of every vessel and record of it."""
CORRECT = ("Make a correction instead of a second record: on the page Results of the wizard, or "
           "by Dossier.correct.")


class EntryError(Mendable, ValueError):
    """An entry that cannot be taken; nothing was changed."""


def check_setting(
    job: EvaporationJob, setting: Mapping[str, Any], *, is_new: bool = True
) -> Setting:
    """A setting for every factor of the job; it may lie outside the bounds (history counts).

    One that is in a record already (not ``is_new``) may be what no run can have: it was taken
    before that was refused.

    Raises
    ------
    EntryError
        for a factor that is missing or unknown, and for what no run can have
    """
    faults = Faults()
    checked = read_setting(Table(setting, "setting", faults), job.factors)
    if is_new and not faults.found:
        check_possible(job, checked, "setting", faults)
    if faults.found:
        first = faults.found[0]
        raise EntryError(f"{first.path} {first.message}", first.cure)
    return checked


def check_settings(job: EvaporationJob, settings: Any) -> list[Setting]:
    """A list of settings, each as :func:`check_setting`."""
    if isinstance(settings, Mapping | str) or not isinstance(settings, Iterable):
        raise EntryError("Settings must be given as a list.", "Put a single one in brackets.")
    return [check_setting(job, s) for s in settings]


def checked_count(n: Any) -> int:
    """How many trials to propose."""
    if isinstance(n, bool) or not isinstance(n, Integral) or not 1 <= int(n) <= 50:
        raise EntryError(f"{shown(n)} trials cannot be proposed.", "Ask for 1 to 50.")
    return int(n)


def checked_level(level: Any) -> float:
    """The probability of an interval."""
    if not isinstance(level, int | float | np.floating) or not 0.0 < level < 1.0:
        raise EntryError(f"A level of {shown(level)} is not possible.", "Use one like 0.95.")
    return float(level)


def checked_flag(name: str, value: Any) -> bool:
    """A choice between yes and no."""
    if not isinstance(value, bool | np.bool_):
        raise EntryError(f"{name} is {shown(value)}.", "Give True or False.")
    return bool(value)


def check_result(
    job: EvaporationJob,
    run_time_min: Any,
    outcome: str,
    recovery_percent: Mapping[str, Any],
    remark: str = "",
    day: str = "",
    corrected: bool = False,
) -> Result:
    """A result with every value checked against the job."""
    if not isinstance(outcome, str) or outcome not in OUTCOMES:
        raise EntryError(f"Outcome {shown(outcome)} is not known.",
                         f"Use one of: {', '.join(OUTCOMES)}.")
    if not isinstance(corrected, bool):
        raise EntryError(f"Corrected is {shown(corrected)}, neither True nor False.",
                         "Give True for recoveries against a standard added before.")
    time = _run_time(run_time_min, outcome)
    if not isinstance(recovery_percent, Mapping):
        raise EntryError("Recoveries must be given by analyte.",
                         'Give for example {"naphthalene": [88.1, None, "<5"]}.')
    names = {a.name for a in job.analytes}
    recovery, is_mean = {}, {}
    for name, values in recovery_percent.items():
        if name not in names:
            raise EntryError(f"{shown(name)} is not an analyte of this job.",
                             f"Use one of: {', '.join(sorted(names))}.")
        recovery[name], is_mean[name] = _recoveries(name, values, job.equipment.vessels)
    return Result(
        time, outcome, recovery, is_mean, checked_text(remark, "The remark", LONGEST_REMARK),
        checked_day(day), corrected,
    )


def time_and_outcome(
    held: Result | None, run_time_min: Any, outcome: Any | None
) -> tuple[Any, Any]:
    """Run time and outcome of a record, unchecked.

    Further vessels of a run recorded before (``held``) share both with it unless a run time is
    given; a run whose outcome is not said has finished.
    """
    if held is not None and run_time_min is None:
        run_time_min = held.run_time_min
        outcome = held.outcome if outcome is None else outcome
    return run_time_min, "finished" if outcome is None else outcome


def checked_text(value: Any, what: str, longest: int = LONGEST_TEXT) -> str:
    """Free text that every file and database can keep."""
    if not isinstance(value, str):
        raise EntryError(f"{what} must be text, not {shown(value)}.",
                         "Leave it out, or give text.")
    if len(value) > longest:
        raise EntryError(f"{what} is longer than {longest} characters.", "Shorten it.")
    if NOT_TEXT.search(value):
        raise EntryError(f"{what} holds control characters.", "Type it again.")
    return value


def checked_reason(reason: Any) -> str:
    """Why somebody does something that must be explained."""
    text = checked_text(reason, "The reason").strip()
    if not text:
        raise EntryError("A reason is needed.", "Say in a few words why.")
    return text


DATE = re.compile(r"(?:(\d{4})[-./](\d{1,2})[-./](\d{1,2})|(\d{1,2})([-./])(\d{1,2})[-./](\d{4}))"
                  r"(?:[T ]\s*\d{1,2}:\d{2}.*)?")
"""A date, and the time of day that a spreadsheet may write behind it."""
SHORT_DATE = re.compile(r"\d{1,2}([-./])\d{1,2}\1\d{2}(?: .*)?")


def checked_day(value: Any) -> str:
    """The day of a run: any words, a date as 2026-03-10 however it was written.

    Two spellings of a date would count as two days, and so would two times of one day. Between
    points the day comes first; between slashes or hyphens either may.
    """
    text = checked_text(value, "The day").strip()
    if SHORT_DATE.fullmatch(text):
        raise EntryError(f"The day {text[:40]} can be read in several ways, its year too.",
                         "Write it as 2026-03-10.")
    found = DATE.fullmatch(text)
    if found is None:
        return text
    year, month, day = (int(x) for x in (found[1] or found[7], found[2] or found[6],
                                         found[3] or found[4]))
    if found[4] and found[5] != "." and max(month, day) <= 12 and month != day:
        raise EntryError(f"The day {text[:40]} can be read two ways.",
                         f"Write {year}-{month:02d}-{day:02d} or {year}-{day:02d}-{month:02d}.")
    if found[4] and found[5] != "." and month > 12:
        month, day = day, month
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        raise EntryError(f"The day {text[:40]} is no date.", "Write it as 2026-03-10.") from None


def written_day_key(text: str) -> str:
    """What two ways to write one day share, a date that is refused being itself."""
    try:
        return day_key(checked_day(text))
    except EntryError:
        return day_key(text)


def _run_time(value: Any, outcome: str) -> float | None:
    if value is None:
        if outcome == "finished":
            raise EntryError("A finished run needs its run time.",
                             "Give run_time_min, or another outcome.")
        return None
    number = _number(value, "The run time")
    if not SHORTEST_TIME_MIN <= number <= LONGEST_TIME_MIN:
        raise EntryError(f"A run time of {number:g} min is not possible.",
                         f"Give minutes, {SHORTEST_TIME_MIN:g} to {LONGEST_TIME_MIN:g}.")
    return number


def _number(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, Real):
        raise EntryError(f"{what} must be a number, not {shown(value)}.",
                         "Give a plain number.")
    try:
        number = float(value)
    except (OverflowError, TypeError, ValueError):
        number = math.inf
    if not math.isfinite(number):
        raise EntryError(f"{what} must be a finite number.", "Leave it empty if not measured.")
    return number


def _recoveries(
    name: str, values: Any, vessels: int
) -> tuple[tuple[Recovery | None, ...], bool]:
    if hasattr(values, "tolist"):  # an array or a column of a frame
        values = values.tolist()
    if isinstance(values, Sequence) and not isinstance(values, str | bytes):
        if len(values) > vessels:
            raise EntryError(f"{name} has {len(values)} recoveries for {vessels} vessels.",
                             "Give one value a vessel, in vessel order.")
        return tuple(read_recovery(name, v) for v in values), False
    single = read_recovery(name, values)
    return (single,), True


def read_recovery(name: str, value: Any) -> Recovery | None:
    """One reading: a number in percent, "<5" for below 5 %, or None for not measured."""
    if value is None:
        return None
    censored = False
    if isinstance(value, str):
        match = re.fullmatch(r"\s*(<?)\s*(\d+(?:\.\d*)?|\.\d+)\s*", value)
        if match is None:
            raise EntryError(f"Recovery {shown(value)} of {name} is not understood.",
                             'Give a number in percent, "<5", or leave it empty.')
        censored, value = bool(match[1]), float(match[2])
    number = _number(value, f"The recovery of {name}")
    if number < 0.0 or number > HIGHEST_RECOVERY or (censored and number == 0.0):
        sign = "<" if censored else ""
        raise EntryError(f"A recovery of {sign}{number:g} % for {name} is not possible.",
                         f"Give percent of the spike, 0 to {HIGHEST_RECOVERY:g}.")
    return Recovery(number, censored)


def merge(old: Result, new: Result) -> Result:
    """Later readings of a recorded trial; what contradicts the record is refused.

    Raises
    ------
    EntryError
        for a second run time, outcome, day or reading, or readings corrected by a standard
        beside others that are not
    """
    if new.run_time_min is not None and old.run_time_min not in (None, new.run_time_min):
        raise EntryError(f"The run time is already recorded as {old.run_time_min:g} min.", CORRECT)
    if new.outcome != old.outcome:
        raise EntryError(f"The outcome is already recorded as {old.outcome!r}.", CORRECT)
    if new.day and old.day_key not in ("", new.day_key):
        raise EntryError(f"The day is already recorded as {old.day!r}.", CORRECT)
    if new.corrected != old.corrected and old.has_readings and new.has_readings:
        held = "corrected" if old.corrected else "without the correction"
        raise EntryError(f"Recoveries {held} by a standard are already recorded.", CORRECT)
    added = False
    recovery, is_mean = dict(old.recovery), dict(old.is_mean)
    for name, values in new.recovery.items():
        if all(v is None for v in values):
            continue
        before = recovery.get(name, ())
        if any(v is not None for v in before) and (is_mean.get(name) or new.is_mean[name]):
            raise _twice(name, None)
        length = max(len(before), len(values))
        merged: list[Recovery | None] = []
        for i in range(length):
            a = before[i] if i < len(before) else None
            b = values[i] if i < len(values) else None
            if a is not None and b is not None:
                raise _twice(name, i + 1)
            added = added or b is not None
            merged.append(a if a is not None else b)
        recovery[name], is_mean[name] = tuple(merged), new.is_mean[name]
    if not added and (old.run_time_min is not None or new.run_time_min is None):
        raise EntryError("This trial is already recorded and nothing new was given.", CORRECT)
    time = old.run_time_min if old.run_time_min is not None else new.run_time_min
    remark = "; ".join(dict.fromkeys(r for r in (old.remark, new.remark) if r))
    return Result(time, old.outcome, recovery, is_mean,
                  checked_text(remark, "The remark", LONGEST_REMARK), old.day or new.day,
                  new.corrected if new.has_readings else old.corrected)


def _twice(name: str, vessel: int | None) -> EntryError:
    where = f"vessel {vessel}" if vessel is not None else "this trial"
    return EntryError(f"The recovery of {name} in {where} is already recorded.", CORRECT)
