"""Why this setting, in sentences that are each computed from the fit and the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from experiments.answers import Answer
from experiments.dossier import Dossier
from experiments.job import Factor, Setting
from experiments.report.words import UNITS, number, percent
from experiments.sensitivity import weakest

if TYPE_CHECKING:
    from experiments.fitted import Fitted

STEP_SHARE = 0.12
"""How far a factor is moved to show what it would do, as a share of its range."""


def rationale(dossier: Dossier, fitted: Fitted, answer: Answer) -> tuple[str, ...]:
    """Sentences on what limits the setting, each way of moving, and what was rejected."""
    setting = answer.setting
    if setting is None:
        return ()
    base = fitted.forecast([setting])[0]
    found = [f"What limits it: {weakest(dossier.job, base)}."]
    for factor in fitted.space.free:
        if factor.choices:
            continue
        for sign in (1.0, -1.0):
            sentence = _move(fitted, setting, factor, sign)
            if sentence:
                found.append(sentence)
    found += _rejected(dossier, fitted, base.run_time_min.mean)
    if answer.fastest is not None and answer.fastest.setting != setting:
        saved = base.run_time_min.mean - answer.fastest.run_time_min.mean
        found.append(
            f"Moving inwards so that the equipment's tolerance stays inside costs "
            f"{number(max(saved, 0.0))} min a batch against the fastest qualifying setting."
        )
    return tuple(found)


def _move(fitted: Fitted, setting: Setting, factor: Factor, sign: float) -> str:
    unit = fitted.space.to_unit(setting)
    index = [f.name for f in fitted.space.free].index(factor.name)
    moved = unit.copy()
    moved[index] = min(max(unit[index] + sign * STEP_SHARE, 0.0), 1.0)
    other = fitted.space.from_unit(moved[None])[0]
    if other[factor.name] == setting[factor.name]:
        return ""
    here, there = fitted.forecast([setting, other])
    gain = here.run_time_min.mean - there.run_time_min.mean
    name, unit_words = UNITS[factor.name]
    direction = "higher" if float(other[factor.name]) > float(setting[factor.name]) else "lower"
    effect = (f"save {number(gain)} min" if gain > 0.5 else
              f"cost {number(-gain)} min" if gain < -0.5 else "change the run time little")
    return (
        f"A {direction} {name} ({float(other[factor.name]):g} {unit_words} instead of "
        f"{float(setting[factor.name]):g} {unit_words}) would {effect} and bring the probability "
        f"to {percent(there.probability)}; {weakest(fitted.job, there)}."
    )


def _rejected(dossier: Dossier, fitted: Fitted, minutes: float) -> list[str]:
    """Trials that were faster but are not good enough."""
    found = []
    for trial in dossier.recorded:
        result = trial.result
        if result is None or result.run_time_min is None or result.run_time_min >= minutes:
            continue
        forecast = fitted.forecast([trial.setting])[0]
        if forecast.probability < dossier.job.limits.assurance:
            found.append(
                f"{trial.id} ran faster ({number(result.run_time_min)} min) but reaches only "
                f"{percent(forecast.probability)}; {weakest(dossier.job, forecast)}."
            )
    return found
