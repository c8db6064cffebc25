"""What a correction changed: the old values beside the new ones."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import zip_longest

from experiments.dossier_state import read_result
from experiments.events import Event
from experiments.trials import Recovery, Result


def corrections(events: Iterable[Event]) -> dict[int, str]:
    """For each correction, by the number of the entry that it replaces, what it changed."""
    held: dict[int, Result] = {}
    found: dict[int, str] = {}
    for event in events:
        if event.kind not in ("recorded", "corrected"):
            continue
        held[event.seq] = read_result(event.payload["result"])
        if event.kind == "corrected":
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
    return "; ".join(parts) or "nothing"


def _minutes(result: Result) -> str:
    return "none" if result.run_time_min is None else f"{result.run_time_min:g} min"


def _percent(reading: Recovery | None) -> str:
    return "none" if reading is None else f"{reading} %"
