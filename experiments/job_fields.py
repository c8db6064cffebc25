"""Reading typed values out of a job mapping, collecting every fault on the way."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from numbers import Real
from typing import Any

NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
"""Characters that no name or remark needs and that files and databases choke on."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a job: where, what, and what would mend it."""

    path: str
    message: str
    cure: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message} {self.cure}"


class Faults:
    """Collects faults; nothing is raised until all of the job has been read."""

    def __init__(self) -> None:
        self.found: list[Fault] = []

    def add(self, path: str, message: str, cure: str) -> None:
        self.found.append(Fault(path, message, cure))

    def at(self, prefix: str) -> bool:
        """Whether anything below ``prefix`` is already at fault."""
        return any(f.path.startswith(prefix) for f in self.found)


@dataclass(frozen=True)
class Number:
    """What a number must be: range (inclusive unless ``above``), and its unit in words."""

    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # low itself is not allowed
    whole: bool = False
    unit: str = ""

    def fault(self, value: float) -> str | None:
        if self.whole and value != int(value):
            return "must be a whole number"
        if value < self.low or (self.above and value == self.low):
            word = "above" if self.above else "at least"
            return f"must be {word} {self.low:g}{self._unit}"
        if value > self.high:
            return f"must be at most {self.high:g}{self._unit}"
        return None

    @property
    def _unit(self) -> str:
        return f" {self.unit}" if self.unit else ""


class Table:
    """One table of a job file, read key by key; what is left over is reported."""

    def __init__(self, data: Any, path: str, faults: Faults) -> None:
        self.path, self.faults = path, faults
        self.assumed: list[str] = []
        self._used: set[str] = set()
        if isinstance(data, Mapping):
            self.data: Mapping[str, Any] = data
        else:
            self.data = {}
            faults.add(path or "job", f"must be a table, not {shown(data)}.",
                       "Write it as a table of keys and values.")

    def where(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def has(self, key: str) -> bool:
        return key in self.data

    def raw(self, key: str) -> Any:
        self._used.add(key)
        return self.data.get(key)

    def number(self, key: str, rule: Number, default: float | None = None) -> float:
        """A finite number; ``default`` makes the key optional and marks it as assumed."""
        if key not in self.data:
            self._used.add(key)
            if default is None:
                self._missing(key)
                return math.nan
            self.assumed.append(key)
            return default
        return read_number(self.raw(key), self.where(key), rule, self.faults)

    def text(self, key: str, default: str | None = None, choices: Iterable[str] = ()) -> str:
        if key not in self.data:
            self._used.add(key)
            if default is None:
                self._missing(key)
                return ""
            if default:
                self.assumed.append(key)
            return default
        value = self.raw(key)
        if not isinstance(value, str):
            self.faults.add(self.where(key), f"must be text, not {shown(value)}.",
                            "Put it in quotation marks.")
            return default or ""
        if len(value) > 500:
            self.faults.add(self.where(key), "is longer than 500 characters.", "Shorten it.")
            return value[:500]
        if NOT_TEXT.search(value):
            self.faults.add(self.where(key), "holds control characters.", "Type it again.")
            return ""
        allowed = list(choices)
        if allowed and value not in allowed:
            self.faults.add(self.where(key), f"{value!r} is not known.",
                            f"Use one of: {', '.join(repr(c) for c in allowed)}.")
        return value

    def table(self, key: str) -> Table:
        if key not in self.data:
            self._missing(key)
        return Table(self.raw(key) if key in self.data else {}, self.where(key), self.faults)

    def tables(self, key: str) -> list[Table]:
        if key not in self.data:
            self._used.add(key)
            self._missing(key)
            return []
        value = self.raw(key)
        if not isinstance(value, list | tuple):
            self.faults.add(self.where(key), f"must be a list, not {shown(value)}.",
                            "Write it as a list of tables.")
            return []
        return [
            Table(item, f"{self.where(key)}[{i}]", self.faults) for i, item in enumerate(value)
        ]

    def finish(self) -> None:
        """Report keys nobody asked for, with the nearest known one."""
        for key in self.data:
            if key not in self._used:
                near = difflib.get_close_matches(str(key), sorted(self._used), n=1)
                cure = f"Did you mean {near[0]!r}?" if near else "Remove it."
                self.faults.add(self.where(str(key)), "is not a known key.", cure)

    def _missing(self, key: str) -> None:
        self._used.add(key)
        if key in self.data:
            return
        near = difflib.get_close_matches(key, [str(k) for k in self.data], n=1)
        cure = f"Add it{f' (is {near[0]!r} meant to be it?)' if near else ''}."
        self.faults.add(self.where(key), "is missing.", cure)


def read_number(value: Any, path: str, rule: Number, faults: Faults) -> float:
    """A finite number obeying ``rule``; nan, with a fault, otherwise."""
    if isinstance(value, bool) or not isinstance(value, Real):
        cure = "Write a plain number, with a point as decimal sign and without its unit."
        faults.add(path, f"must be a number, not {shown(value)}.", cure)
        return math.nan
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        faults.add(path, "must be a finite number.", "Give a real value.")
        return math.nan
    wrong = rule.fault(number)
    if wrong is not None:
        faults.add(path, f"is {number:g} but {wrong}.", "Check the value and its unit.")
        return math.nan
    return number


def shown(value: Any) -> str:
    """What somebody gave, on one line of at most 40 characters."""
    text = " ".join(repr(value).split())
    return text if len(text) <= 40 else text[:37] + "..."
