"""Correcting a result: what takes its place, and the old values beside the new ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import zip_longest
from typing import Any, TypedDict

from experiments.dossier_state import read_result
from experiments.entries import EntryError, check_result
from experiments.events import Event
from experiments.job import EvaporationJob
from experiments.trials import Recovery, Result

NOTHING = "nothing"
RECORDING = ("recorded", "verification recorded")
CORRECTING = ("corrected", "verification corrected")
ENTERING = (*RECORDING, *CORRECTING, "trace attached")


class Amendment(TypedDict, total=False):
    """What a correction may give anew; the values are checked as those of a record."""

    run_time_min: Any
    outcome: Any
    recovery_percent: Mapping[str, Any]
    remark: Any
    day: Any
    corrected: Any


def amended(job: EvaporationJob, old: Result, values: Amendment) -> Result:
    """The result that takes the place of ``old``.

    What is not given stays; an analyte given without any reading loses those it had.

    Raises
    ------
    EntryError
        for values that cannot be taken, or that change nothing
    TypeError
        for what is no part of a result
    """
    unknown = values.keys() - Amendment.__annotations__.keys()
    if unknown:
        raise TypeError(f"A correction has no {', '.join(sorted(unknown))}.")
    kept: dict[str, Any] = {
        "run_time_min": old.run_time_min, "outcome": old.outcome, "recovery_percent": {},
        "remark": old.remark, "corrected": old.corrected,
    }
    given = check_result(job, **(kept | dict(values)))
    if "day" not in values:  # an older record may hold a spelling that is refused today
        given = replace(given, day=old.day)
    recovery = {name: readings for name, readings in {**old.recovery, **given.recovery}.items()
                if any(r is not None for r in readings)}
    is_mean = {**old.is_mean, **given.is_mean}
    result = replace(given, recovery=recovery, is_mean={name: is_mean[name] for name in recovery})
    if changed(old, result) == NOTHING:
        raise EntryError("This changes nothing of the result.", "Give a value that differs.")
    return result


def who_entered(events: Sequence[Event]) -> tuple[str, ...]:
    """Everybody who entered results of a dossier, those that came along from before too."""
    earlier = events[0].payload.get("results_by", ())
    return tuple(dict.fromkeys((*earlier, *(e.who for e in events if e.kind in ENTERING))))


def corrections(events: Iterable[Event]) -> dict[int, str]:
    """For each correction, by the number of the entry that it replaces, what it changed."""
    held: dict[int, Result] = {}
    found: dict[int, str] = {}
    for event in events:
        if event.kind not in (*RECORDING, *CORRECTING):
            continue
        held[event.seq] = read_result(event.payload["result"])
        if event.kind in CORRECTING:
            replaced = int(event.payload["replaces"])
            found[replaced] = changed(held[replaced], held[event.seq])
    return found


def changed(before: Result, after: Result) -> str:
    """Every value that differs, as "old to new"."""
    plain = [
        ("run time", _minutes(before), _minutes(after)),
        ("outcome", before.outcome, after.outcome),
        ("day", before.day or "none", after.day or "none"),
        ("remark", before.remark or "none", after.remark or "none"),
        ("corrected by a standard", *("yes" if r.corrected else "no" for r in (before, after))),
    ]
    parts = [f"{name} {old} to {new}" for name, old, new in plain if old != new]
    for analyte in dict.fromkeys((*before.recovery, *after.recovery)):
        pairs = zip_longest(before.recovery.get(analyte, ()), after.recovery.get(analyte, ()))
        is_mean = before.is_mean.get(analyte) or after.is_mean.get(analyte)
        parts += [
            f"{analyte}{'' if is_mean else f' in vessel {i}'} {_percent(old)} to {_percent(new)}"
            for i, (old, new) in enumerate(pairs, start=1) if old != new
        ]
    return "; ".join(parts) or NOTHING


def _minutes(result: Result) -> str:
    return "none" if result.run_time_min is None else f"{result.run_time_min:g} min"


def _percent(reading: Recovery | None) -> str:
    return "none" if reading is None else f"{reading} %"
