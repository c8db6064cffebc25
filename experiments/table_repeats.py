"""Rows that would count a run twice: without an id, but what they say is known under one."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence

from experiments.entries import check_result
from experiments.job import EvaporationJob
from experiments.table_rows import Group, RowFault
from experiments.table_trials import UnderstoodTrial
from experiments.trials import Recovery, Result, Trial, is_same_time


def recorded_before(
    job: EvaporationJob, found: Iterable[UnderstoodTrial], known: Mapping[str, Trial]
) -> list[RowFault]:
    """New trials that say in everything what a recorded one says.

    Without any reading two runs may well take the same minutes, so nothing is said of them.
    """
    faults = []
    for run in found:
        twin = None if run.trial else _twin(job, run, known.values())
        if twin is not None:
            faults.append(RowFault(
                run.rows[0], f"This is trial {twin} once more: the same setting, run time, "
                "recoveries, day and remark.",
                f"Leave its rows out, write {twin} into their trial cells to correct it, or say "
                "in the remark that it is another run."))
    return faults


def _twin(job: EvaporationJob, run: UnderstoodTrial, trials: Iterable[Trial]) -> str | None:
    result = check_result(job, run.run_time_min, run.outcome, run.recovery_percent, run.remark,
                          run.day, run.corrected)
    if not result.has_readings:
        return None
    return next((t.id for t in trials if t.result is not None and t.setting == run.setting
                 and _same(t.result, result)), None)


def _same(one: Result, other: Result) -> bool:
    first, second = one.run_time_min, other.run_time_min
    same_time = (first is second if first is None or second is None
                 else is_same_time(first, second))
    return same_time and _said(one) == _said(other) and _measured(one) == _measured(other)


def _said(result: Result) -> tuple[str, str, str, bool]:
    return result.outcome, result.day_key, result.remark, result.corrected


def _measured(result: Result) -> dict[str, tuple[bool, dict[int, Recovery]]]:
    """By analyte: whether it is a mean, and what was measured by place."""
    found = {n: {i: r for i, r in enumerate(row) if r is not None}
             for n, row in result.recovery.items()}
    return {n: (result.is_mean[n], row) for n, row in found.items() if row}


def strays(groups: Sequence[Group]) -> list[RowFault]:
    """Rows without an id that stand beside a trial as if they were more vessels of it.

    As a spreadsheet leaves them where the cells of an id were merged, or the id was typed once:
    the run order and setting of a named trial, and a vessel that it does not give.
    """
    faults = []
    for before, group in itertools.pairwise(groups):
        owner = None if group.label else _owner(group, before, groups)
        if owner is None:
            continue
        vessels = {r.text("vessel") for r in group.rows}
        if "" in vessels or vessels & {r.text("vessel") for r in owner.rows}:
            continue
        faults.append(RowFault(
            group.rows[0].number, f"The row gives no trial, but the setting of {owner.label} and "
            "a vessel that is missing there.",
            f"Write {owner.label} into every row of it; a run of its own needs all its vessels."))
    return faults


def _owner(group: Group, before: Group, groups: Sequence[Group]) -> Group | None:
    """The named trial that rows without an id may belong to: of their run order, else before."""
    run_order = group.key[0]
    return next((g for g in (groups if run_order else [before])
                 if g.label and g.key == group.key), None)
