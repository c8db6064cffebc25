"""Entries of a table that can be true but look like a slip; they are pointed out, not refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median
from typing import Any

from experiments.job import FACTOR_WORDS, EvaporationJob, Setting
from experiments.table_trials import UnderstoodTrial
from experiments.trials import Trial

FRACTIONS_PERCENT = 1.5
"""Recoveries that all lie below this look like fractions."""
FAR = 8.0
"""How many times a vessel may lie below or above the middle of its run unmentioned."""
SHORT = 0.5
"""Share of the ramp's own time below which a run time looks like one in hours."""


def doubts(
    job: EvaporationJob, found: Sequence[UnderstoodTrial], known: Mapping[str, Trial]
) -> list[str]:
    """What somebody should look at once more, trial by trial."""
    said: list[str] = []
    for run in found:
        trial = known.get(run.trial) if run.trial else None
        setting = trial.setting if trial is not None else run.setting or {}
        said += [f"{run.name}: {line}" for line in (
            *_outside(job, run.setting or {}), *_too_short(job, setting, run),
            *_too_long(job, run), *_readings(run.recovery_percent))]
    return said


def _outside(job: EvaporationJob, setting: Setting) -> list[str]:
    said = []
    for factor in job.factors:
        value = setting.get(factor.name)
        if isinstance(value, str) or value is None or factor.low <= value <= factor.high:
            continue
        words, unit = FACTOR_WORDS[factor.name]
        said.append(f"its {words} of {value:g} {unit} lies outside the job's {factor.low:g} to "
                    f"{factor.high:g} {unit}.")
    return said


def _too_short(job: EvaporationJob, setting: Setting, run: UnderstoodTrial) -> list[str]:
    if run.run_time_min is None or run.outcome != "finished" or not setting:
        return []
    drop = job.equipment.ramp_start_pressure_mbar - float(setting["end_pressure_mbar"])
    ramp = drop / float(setting["ramp_rate_mbar_per_min"])
    if run.run_time_min >= SHORT * ramp:
        return []
    return [f"a run time of {run.run_time_min:g} min is short beside a ramp of {ramp:.0f} min; "
            "are these minutes?"]


def _too_long(job: EvaporationJob, run: UnderstoodTrial) -> list[str]:
    longest = job.limits.max_run_time_min
    if run.run_time_min is None or run.run_time_min <= longest:
        return []
    return [f"a run time of {run.run_time_min:g} min is longer than the {longest:g} min the job "
            "allows; are these minutes?"]


def _readings(recovery: Mapping[str, Any]) -> list[str]:
    numbers = {name: _numbers(values) for name, values in recovery.items()}
    every = [v for found in numbers.values() for v in found.values()]
    if every and max(every) < FRACTIONS_PERCENT:
        return [f"every recovery is below {FRACTIONS_PERCENT:g} %; percent of the spike are "
                "expected, not fractions."]
    said = []
    for name, found in numbers.items():
        middle = median(found.values()) if len(found) > 2 else 0.0
        said += [
            f"vessel {vessel} has {value:g} % of {name}, the middle of its run is {middle:g} %."
            for vessel, value in found.items()
            if middle and not middle / FAR <= value <= middle * FAR
        ]
    return said


def _numbers(values: Any) -> dict[int, float]:
    """Plain readings by vessel; those below a limit say nothing here."""
    row = values if isinstance(values, list) else [values]
    return {i: float(v) for i, v in enumerate(row, start=1) if isinstance(v, int | float)}
