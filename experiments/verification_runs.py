"""Runs made to verify a setting: which of them count, and their records.

A run counts when it was made at the set point on a known day, finished, with all deciding
analytes measured against an unevaporated reference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from experiments.dossier import Dossier
from experiments.dossier_state import read_result, result_payload
from experiments.events import last_of
from experiments.job import EvaporationJob, Setting
from experiments.trials import Recovery, Result
from experiments.verification_plan import VerificationPlan, read_plan
from experiments.verification_rules import RunSummaries
from models.system import Array


@dataclass(frozen=True)
class VerificationRun:
    """One run made to verify a setting; ``blank_percent`` is of the spike, by analyte.

    ``record`` is the number of its entry in the history.
    """

    id: str
    setting: Setting
    result: Result
    blank_percent: dict[str, float] = field(default_factory=dict)
    record: int | None = None


def usable_runs(
    job: EvaporationJob, made: VerificationPlan, runs: Sequence[VerificationRun]
) -> tuple[list[VerificationRun], dict[str, str]]:
    """Runs that count, and why each of the others does not."""
    usable, set_aside = [], {}
    for run in runs:
        why = _objection(job, made, run)
        if why is None:
            usable.append(run)
        else:
            set_aside[run.id] = why
    return usable, set_aside


def _objection(job: EvaporationJob, made: VerificationPlan, run: VerificationRun) -> str | None:
    result = run.result
    other = [f.name for f in job.factors if run.setting.get(f.name) != made.setting[f.name]]
    blank = high_blank(made, run)
    missing = [
        row.analyte for row in made.criteria.deciding
        if all(r is None for r in result.recovery.get(row.analyte, ()))
    ]
    if other:
        return f"run at another setting ({', '.join(other)})"
    if result.outcome != "finished":
        return f"the run ended as {result.outcome!r}"
    if result.corrected:
        return "recoveries are corrected by a standard that was evaporated too"
    if blank is not None:
        return blank
    if missing:
        return f"{', '.join(missing)} not measured"
    if not result.day:
        return "its day is not given"
    return None


def high_blank(made: VerificationPlan, run: VerificationRun) -> str | None:
    """What is wrong with the blank of a run; None where nothing is."""
    name, value = max(run.blank_percent.items(), key=lambda item: item[1], default=("", 0.0))
    if value <= made.criteria.blank_max_percent:
        return None
    return (f"the blank holds {value:.3g} % of the spike of {name}, more than "
            f"{made.criteria.blank_max_percent:g} %")


def complete_prefix(
    job: EvaporationJob, made: VerificationPlan, usable: Sequence[VerificationRun]
) -> int | None:
    """How many of the first runs complete the plan; None while it is not complete."""
    for count in range(made.criteria.runs, len(usable) + 1):
        first = usable[:count]
        days = {r.result.day_key for r in first}
        if len(days) >= made.criteria.days and not missing_positions(job, made, first):
            return count
    return None


def missing_positions(
    job: EvaporationJob, made: VerificationPlan, runs: Sequence[VerificationRun]
) -> list[int]:
    """Vessel positions from which no deciding analyte was measured yet."""
    used: set[int] = set()
    for run in runs:
        for row in made.criteria.deciding:
            readings = run.result.recovery.get(row.analyte, ())
            if run.result.is_mean.get(row.analyte, False):
                return []
            used |= {i + 1 for i, r in enumerate(readings) if r is not None}
    return [p for p in range(1, job.equipment.vessels + 1) if p not in used]


def summarise(made: VerificationPlan, runs: Sequence[VerificationRun]) -> RunSummaries:
    """Reduce runs to summaries; a reading below its limit counts as zero, the worst case."""
    names = [row.analyte for row in made.criteria.deciding]
    means = np.empty((1, len(runs), len(names)))
    within, each, degrees = (np.zeros(len(names)) for _ in range(3))
    for a, name in enumerate(names):
        groups = [readings(run.result, name) for run in runs]
        means[0, :, a] = [g.mean() for g in groups]
        degrees[a] = sum(g.size - 1 for g in groups)
        each[a] = len(groups) / sum(1.0 / g.size for g in groups)
        if degrees[a]:
            within[a] = sum(((g - g.mean()) ** 2).sum() for g in groups) / degrees[a]
    day = np.unique([r.result.day_key for r in runs], return_inverse=True)[1]
    return RunSummaries(means, within[None], each, degrees, day)


def readings(result: Result, analyte: str) -> Array:
    """Readings [n] of one analyte in percent, without gaps; censored ones count as zero."""
    found = [r for r in result.recovery.get(analyte, ()) if r is not None]
    return np.array([worst_case(r) for r in found])


def worst_case(reading: Recovery) -> float:
    """A reading in percent; one below its limit counts as zero."""
    return 0.0 if reading.censored else reading.percent


# -- records -----------------------------------------------------------------------------


def run_payload(run: VerificationRun) -> dict[str, Any]:
    """A run as JSON data, for a "verification recorded" event."""
    return {
        "run": run.id, "setting": dict(run.setting), "result": result_payload(run.result),
        "blank_percent": dict(run.blank_percent),
    }


def read_run(data: Mapping[str, Any], record: int | None = None) -> VerificationRun:
    """A run of a "verification recorded" or "verification corrected" event."""
    return VerificationRun(
        str(data["run"]), dict(data["setting"]), read_result(data["result"]),
        {k: float(v) for k, v in data.get("blank_percent", {}).items()}, record,
    )


def planned(dossier: Dossier) -> VerificationPlan | None:
    """The last verification plan of a dossier, or None."""
    last = last_of(dossier.events, "verification planned")
    return None if last is None else read_plan(last.payload)


def recorded_runs(dossier: Dossier, setting: Setting) -> list[VerificationRun]:
    """Runs that may verify a setting, in the order they were recorded.

    Runs recorded as verification since the last plan, and trials at that very setting
    first recorded after it was recommended or planned: the trials that found a setting do
    not also prove it, and runs that were taken over as trials do not count twice.
    """
    runs: dict[str, VerificationRun] = {}
    begun: set[str] = set()
    chosen = False
    for event in dossier.events:
        p = event.payload
        if event.kind == "verification planned":
            runs = {}
        if event.kind in ("recommended", "verification planned"):
            chosen = chosen or dict(p.get("setting") or {}) == setting
        elif event.kind in ("verification recorded", "verification corrected"):
            runs[str(p["run"])] = read_run(p, event.seq)
        elif event.kind == "recorded":
            trial = dossier.trial(str(p["trial"]))
            counts = chosen and trial.id not in begun and trial.state == "recorded"
            counts = counts and trial.run_of is None
            if counts and trial.setting == setting and trial.result:
                runs[trial.id] = VerificationRun(
                    trial.id, dict(trial.setting), trial.result, record=event.seq
                )
            begun.add(trial.id)
    return list(runs.values())
