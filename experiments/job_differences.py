"""What changed from one job to another, value by value."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from experiments.job import EvaporationJob, Setting
from experiments.job_text import assumed_values, to_mapping, with_assumed


@dataclass(frozen=True)
class Difference:
    """One value that differs: where, and what it was and is; None where it is absent."""

    path: str
    before: Any
    after: Any

    @property
    def sentence(self) -> str:
        if self.before is None:
            return f"{self.path} is new: {self.after}"
        if self.after is None:
            return f"{self.path} is gone: {self.before}"
        return f"{self.path}: {self.before} became {self.after}"


def differences(before: EvaporationJob, after: EvaporationJob) -> tuple[Difference, ...]:
    """Every value that differs; analytes and solvents are told apart by name."""
    old, new = dict(_leaves(_whole(before), "")), dict(_leaves(_whole(after), ""))
    return tuple(
        Difference(path, old.get(path), new.get(path))
        for path in dict.fromkeys((*old, *new))
        if old.get(path) != new.get(path)
    )


def results_carry_over(
    before: EvaporationJob, after: EvaporationJob, settings: Iterable[Setting]
) -> bool:
    """Whether results of one job, got at these settings, are results of the other too.

    They are when the same sample is evaporated in the same equipment with the same factors
    set, and every keeper that was used is still one to choose from; other targets, limits,
    bounds and roles change what is wanted, not what happened.
    """
    used = {s["keeper"] for s in settings if "keeper" in s}
    names = {f.name for f in before.factors}, {f.name for f in after.factors}
    return (
        before.equipment == after.equipment
        and before.sample == after.sample
        and names[0] == names[1]
        and used <= set(after.keepers)
        and {a.name: a.spike_ug for a in after.analytes}.items()
        <= {a.name: a.spike_ug for a in before.analytes}.items()
    )


def carried_results_words(start: Mapping[str, Any]) -> str:
    """How the results of the previous version came along, from the first event of a new one."""
    if not start.get("results_carried"):
        return ("It starts without the results of the previous version, because those are of "
                "another job now.")
    if not start.get("results_by", True):
        return "The previous version had no results."
    return "The results of the previous version count in this one."


def _whole(job: EvaporationJob) -> dict[str, Any]:
    return with_assumed(to_mapping(job), assumed_values(job))


def _leaves(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _leaves(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for i, inner in enumerate(value):
            name = inner.get("name", i) if isinstance(inner, Mapping) else i
            yield from _leaves(inner, f"{path}[{name}]")
    else:
        yield path, value
