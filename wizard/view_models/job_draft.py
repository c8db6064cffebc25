"""A job while it is being written: the keys of a job file, with what was typed kept as typed.

A draft is plain JSON data. A number that could be read is stored as a number in contract
units; text that could not be read stays text, so nothing typed is lost and the fault is
shown beside the field.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from experiments.job import EvaporationJob
from experiments.job_file import Fault, JobError, parse
from wizard.units import NotANumber, Units, plain, read_number
from wizard.view_models.job_fields import Field

Draft = dict[str, Any]
GAPS = ("is missing.", "is empty.")
"""What is said of a field that has still to be filled in."""
TEXT_KEYS = frozenset({
    "title", "name", "cas", "role", "smiles", "heating", "end_volume_control", "peroxide_test",
    "keeper", "choices",
})


def _steps(path: str) -> list[str | int]:
    """The keys and positions of a path such as ``analytes[0].vapour_pressure[0].pressure_pa``."""
    return [int(i) if i else key for i, key in re.findall(r"\[(\d+)\]|([^.\[\]]+)", path)]


def value_at(draft: Mapping[str, Any], path: str) -> Any:
    """What a draft holds at a path; None when there is nothing."""
    here: Any = draft
    for step in _steps(path):
        if isinstance(here, Mapping):
            here = here.get(step)
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            here = here[step]
        else:
            return None
    return here


def put(draft: Draft, path: str, value: Any) -> None:
    """Set a value, making the tables on the way; None removes the key."""
    steps = _steps(path)
    last = steps[-1]
    here: Any = draft
    for step, following in zip(steps[:-1], steps[1:], strict=True):
        fresh: Any = [] if isinstance(following, int) else {}
        if isinstance(step, int):
            while len(here) <= step:
                here.append({})
            here = here[step]
        else:
            here = here.setdefault(step, fresh)
    if value is None:
        here.pop(last, None)
    else:
        here[last] = value


def put_text(draft: Draft, field: Field, text: str, units: Units) -> None:
    """Store what was typed into a field: a number in contract units, or the text itself."""
    if not text.strip():
        put(draft, field.path, None)
    elif field.kind != "number":
        put(draft, field.path, text)
    else:
        try:
            put(draft, field.path, _whole(units.kept(field.key, read_number(text))))
        except NotANumber:
            put(draft, field.path, text)


def _whole(value: float) -> float | int:
    return int(value) if value == int(value) and abs(value) < 1e15 else value


def shown_text(draft: Mapping[str, Any], field: Field, units: Units) -> str:
    """What a field shows: the number in the reader's unit, or what was typed."""
    value = value_at(draft, field.path)
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return units.sign(plain(units.shown(field.key, float(value))))


@dataclass(frozen=True)
class DraftCheck:
    """What a draft amounts to: a job, or what still stands in the way of one."""

    job: EvaporationJob | None
    faults: tuple[Fault, ...]

    def at(self, path: str) -> tuple[Fault, ...]:
        """Faults of exactly this field that are more than a gap."""
        return tuple(f for f in self.faults if f.path == path and f.message not in GAPS)

    def is_gap(self, path: str) -> bool:
        """Whether the field still has to be filled in."""
        return any(f.path == path and f.message in GAPS for f in self.faults)

    @property
    def gaps(self) -> int:
        return sum(f.message in GAPS for f in self.faults)

    @property
    def wrong(self) -> int:
        return len(self.faults) - self.gaps

    def elsewhere(self, shown: set[str]) -> tuple[Fault, ...]:
        """Faults of fields that are not on the page."""
        return tuple(f for f in self.faults if f.path not in shown and f.message not in GAPS)


def check(draft: Mapping[str, Any]) -> DraftCheck:
    """Read a draft as a job, with every fault at its path."""
    unread: dict[str, Fault] = {}
    _find_unread(draft, "", unread)
    try:
        return DraftCheck(parse(job_mapping(draft)), ())
    except JobError as error:
        faults = [unread.get(f.path, f) for f in error.faults]
        return DraftCheck(None, tuple(dict.fromkeys(faults)))


def _find_unread(value: Any, path: str, found: dict[str, Fault]) -> None:
    """Texts that stand where a number belongs, each with what is wrong with it."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            _find_unread(inner, f"{path}.{key}" if path else str(key), found)
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            _find_unread(inner, f"{path}[{i}]", found)
    elif isinstance(value, str) and value.strip() and _last_key(path) not in TEXT_KEYS:
        try:
            read_number(value)
        except NotANumber as error:
            message, _, cure = str(error).partition(": ")
            found[path] = Fault(path, f"{message}.", cure[:1].upper() + cure[1:])


def _last_key(path: str) -> str:
    return [s for s in _steps(path) if isinstance(s, str)][-1]


def job_mapping(draft: Mapping[str, Any]) -> dict[str, Any]:
    """The draft as the mapping of a job file: empty parts left out, fixed factors as numbers."""
    data = {k: _without_empty(v) for k, v in copy.deepcopy(dict(draft)).items()}
    for table in ("equipment", "sample", "factors", "limits"):
        data[table] = data.get(table) or {}
    data["analytes"] = data.get("analytes") or []
    for analyte in data["analytes"]:
        points = [p for p in analyte.pop("vapour_pressure", []) if p]
        analyte.update({"vapour_pressure": points} if points else {})
    data["sample"].setdefault("solvents", [])
    factors: dict[str, Any] = data["factors"]
    for name, value in factors.items():
        if isinstance(value, Mapping) and value.get("low") == value.get("high") is not None:
            factors[name] = value["low"]
    if isinstance(data.get("today"), dict):  # wanted, though nothing of it may be typed yet
        data["today"].setdefault("setting", {})
    return data


def drop_factor(draft: Draft, name: str) -> None:
    """Vary something no longer; what was typed of it for the method in use goes with it."""
    put(draft, f"factors.{name}", None)
    if value_at(draft, f"today.setting.{name}") is not None:
        put(draft, f"today.setting.{name}", None)


def _without_empty(value: Any) -> Any:
    if isinstance(value, Mapping):
        kept = {k: _without_empty(v) for k, v in value.items()}
        return {k: v for k, v in kept.items() if v not in ("", None, {}, [])}
    if isinstance(value, list):
        return [_without_empty(v) for v in value]
    return value


TABLES = frozenset({"equipment", "sample", "factors", "limits", "today", "sample.keeper",
                    "today.setting", "analytes[].boiling_point"})
LISTS_OF_TABLES = frozenset({"analytes", "sample.solvents", "analytes[].vapour_pressure"})
LISTS = frozenset({"factors.keeper.choices"})
BEYOND = 1e300
"""Numbers of that size, and what is not finite, fit no field."""


def misfits(mapping: Mapping[str, Any]) -> list[str]:
    """Paths of a job file whose values no field of the form can hold."""
    return list(_misfits(mapping, ""))


def _misfits(value: Any, path: str) -> Iterator[str]:
    place = re.sub(r"\[\d+\]", "[]", path)
    is_item = place.endswith("[]") and place[:-2] in LISTS_OF_TABLES
    is_factor = place.startswith("factors.") and place.count(".") == 1
    if isinstance(value, Mapping):
        if path and not (place in TABLES or is_item or is_factor):
            yield path
        else:
            for key, inner in value.items():
                yield from _misfits(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        if place not in LISTS_OF_TABLES | LISTS:
            yield path
        for i, inner in enumerate(value):
            yield from _misfits(inner, f"{path}[{i}]")
    elif (place in TABLES | LISTS_OF_TABLES | LISTS or is_item
          or not isinstance(value, str | int | float)
          or not isinstance(value, str) and not -BEYOND < value < BEYOND):
        yield path


def draft_of(mapping: Mapping[str, Any]) -> Draft:
    """A draft from the mapping of a job file: fixed factors become equal bounds."""
    draft: Draft = copy.deepcopy(dict(mapping))
    factors = draft.get("factors")
    if isinstance(factors, dict):
        for name, value in list(factors.items()):
            if isinstance(value, int | float) and not isinstance(value, bool):
                factors[name] = {"low": value, "high": value}
            elif isinstance(value, str) and name == "keeper":
                factors[name] = {"choices": [value]}
    return draft
