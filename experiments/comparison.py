"""Trials, settings and dossiers against each other: how much apart, and whether it is real.

Three answers are possible. "Same" means the difference lies inside a margin that does not
matter, shown with 95 % confidence (two one-sided tests). "Different" means it is not zero,
p corrected for everything looked at (Holm). Otherwise the data cannot tell, and the sentence
says so instead of calling it either.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import t

from experiments.answers import Answer, Forecast
from experiments.differences import (
    RECOVERY_MARGIN,
    Comparison,
    Difference,
    Span,
    Verdict,
    sentence_of,
    with_spans,
)
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.factor_space import setting_key
from experiments.forecaster import NINETY_FIVE
from experiments.job import EvaporationJob, Setting
from experiments.method_in_use import today_against_recommended
from experiments.readings import mean_and_vessels
from experiments.trials import Trial
from experiments.wording import listed
from models.noise import RUN_TIME_SD, mean_variance
from models.significance import Difference as MeanDifference
from models.significance import difference, holm, many_to_one, welch
from models.system import Array

TIME_MARGIN = math.log(1.10)
"""Ten per cent of run time."""


@dataclass(frozen=True, eq=False)
class _Group:
    """Runs of one setting: label, run times, and run means [n] with readings a run.

    ``means`` take a reading below its limit at half of it; it may lie ``open`` points [n] to
    either side.
    """

    label: str
    times: Array
    means: dict[str, Array]
    open: dict[str, Array]
    readings: dict[str, float]

    def at(self, name: str, end: int) -> _Group:
        """The same runs with the means of an analyte at their lowest (-1) or highest (1)."""
        moved = self.means[name] + end * self.open[name]
        return replace(self, means={**self.means, name: moved})

    def span(self, name: str) -> Span:
        """Lowest and highest mean of all runs."""
        low, high = (float(self.at(name, end).means[name].mean()) for end in (-1, 1))
        return low, high


# -- trials ------------------------------------------------------------------------------


def compare_trials(dossier: Dossier, ids: Sequence[str] = ()) -> Comparison:
    """Settings of trials against the first of them; runs of one setting are taken together.

    Parameters
    ----------
    ids : trials to compare; without any, all recorded ones against the method in use (or
        the first recorded trial), and the method in use against the recommended one
    """
    trials = [dossier.trial(i) for i in ids] if ids else list(dossier.recorded)
    groups = _groups(dossier, trials)
    if len(groups) < 2:
        text = "The trials share one setting." if trials else "No trial is recorded."
        if ids:
            raise EntryError(text, "Name trials of two settings that have results.")
        return Comparison((), sentences=(text,))
    found = _differences(dossier.job, groups)
    if ids or not dossier.recorded:
        return Comparison(found)
    return today_against_recommended(dossier, found)


def _groups(dossier: Dossier, trials: Sequence[Trial]) -> list[_Group]:
    """Recorded trials by setting, in the order named, replicates included."""
    groups: dict[object, _Group] = {}
    for trial in trials:
        if trial.result is None or trial.state != "recorded":
            raise EntryError(f"Trial {trial.id} has no result that counts.",
                             "Compare recorded trials.")
        key = setting_key(trial.setting)
        if key not in groups:
            same = [t for t in dossier.recorded if setting_key(t.setting) == key]
            groups[key] = _group(dossier.job, same)
    return list(groups.values())


def _group(job: EvaporationJob, trials: Sequence[Trial]) -> _Group:
    finished = {t.id: t.result for t in trials if t.result and t.result.outcome == "finished"}
    times = [r.run_time_min for r in finished.values() if r.run_time_min]
    means: dict[str, Array] = {}
    left_open: dict[str, Array] = {}
    readings: dict[str, float] = {}
    for name in (a.name for a in job.analytes):
        measured = [r for r in finished.values()
                    if not r.corrected and math.isfinite(r.mean_span(name)[0])]
        if measured:
            low, high = np.array([r.mean_span(name) for r in measured]).T
            means[name], left_open[name] = 0.5 * (low + high), 0.5 * (high - low)
            readings[name] = float(np.mean(
                [mean_and_vessels(r, name, job.equipment.vessels)[1] for r in measured]))
    label = listed(list(finished) or [t.id for t in trials])
    return _Group(label, np.array(times), means, left_open, readings)


def _differences(job: EvaporationJob, groups: Sequence[_Group]) -> tuple[Difference, ...]:
    """Every group against the first: run time, then each analyte measured in both."""
    first, found = groups[0], []
    for other in groups[1:]:
        if len(first.times) and len(other.times):
            found.append(_time_difference(first, other))
    for analyte in job.analytes:
        measured = [g for g in groups[1:] if analyte.name in g.means]
        if analyte.name in first.means:
            found += _recovery_differences(analyte.name, first, measured)
    corrected = holm([d.p_value for d in found])
    return tuple(
        _judged(replace(d, p_value=p)) for d, p in zip(found, corrected, strict=True)
    )


def _time_difference(first: _Group, other: _Group) -> Difference:
    a, b = float(np.log(first.times).mean()), float(np.log(other.times).mean())
    error = RUN_TIME_SD * math.sqrt(1.0 / len(first.times) + 1.0 / len(other.times))
    ratio = difference(b - a, error, math.inf)
    start = math.exp(a)
    return Difference(
        "run time", "min", first.label, other.label, start, math.exp(b),
        math.exp(b) - start, start * math.expm1(ratio.low), start * math.expm1(ratio.high),
        ratio.p_value, "cannot tell", "",
    )


def _recovery_differences(
    name: str, first: _Group, others: Sequence[_Group]
) -> list[Difference]:
    """Every group against the first, whatever the readings below a limit really were."""
    middle = _differences_of_means(name, first, others)
    if not any(g.open[name].any() for g in (first, *others)):
        return middle
    ends = (_differences_of_means(name, first.at(name, -end), [g.at(name, end) for g in others])
            for end in (-1, 1))
    return [with_spans(found, pair, first.span(name), g.span(name))
            for found, g, *pair in zip(middle, others, *ends, strict=True)]


def _differences_of_means(
    name: str, first: _Group, others: Sequence[_Group]
) -> list[Difference]:
    """Dunnett where every setting was repeated, Welch with three runs each, else known noise.

    Runs that repeat to the last digit say nothing of scatter, so the usual noise stands.
    """
    groups = [first, *others]
    repeated = all(len(g.means[name]) > 1 for g in groups)
    if len(others) > 1 and repeated and any(np.ptp(g.means[name]) > 0.0 for g in groups):
        rows = many_to_one([g.means[name] for g in others], first.means[name])
        made = [MeanDifference(r.estimate, r.low, r.high, r.p_value, math.nan) for r in rows]
    else:
        made = [_pair(name, first, g) for g in others]
    return [
        Difference(
            f"recovery of {name}", "points", first.label, g.label,
            float(first.means[name].mean()), float(g.means[name].mean()), d.estimate, d.low,
            d.high, d.p_value, "cannot tell", "",
        )
        for g, d in zip(others, made, strict=True)
    ]


def _pair(name: str, first: _Group, other: _Group) -> MeanDifference:
    a, b = first.means[name], other.means[name]
    if min(len(a), len(b)) >= 3 and max(np.ptp(a), np.ptp(b)) > 0.0:
        return welch(a, b)
    variance = sum(_usual_variance(g, name) / len(g.means[name]) for g in (first, other))
    return difference(float(b.mean() - a.mean()), math.sqrt(variance), math.inf)


def _usual_variance(group: _Group, name: str) -> float:
    """Variance of one run's mean at this recovery, in points squared (models.noise)."""
    level = np.array(float(group.means[name].mean()) / 100.0)
    return 1e4 * float(mean_variance(level, np.array(group.readings[name])))


def _judged(found: Difference) -> Difference:
    """The verdict and its sentence."""
    if found.unit == "min":
        inner = _inner(math.log(1 + found.difference / found.first_value),
                       math.log1p(max(found.low / found.first_value, -0.99)),
                       math.log1p(found.high / found.first_value))
        same, margin = abs(inner) <= TIME_MARGIN, "10 %"
    else:
        inner = (max(found.low, found.high, key=abs) if found.is_open else
                 _inner(found.difference, found.low, found.high))
        same, margin = abs(inner) <= RECOVERY_MARGIN, f"{RECOVERY_MARGIN:g} points"
    verdict: Verdict = "same" if same else "different" if found.p_value < 0.05 else "cannot tell"
    return replace(found, verdict=verdict, sentence=sentence_of(found, verdict, margin))


def _inner(estimate: float, low: float, high: float) -> float:
    """The end of the 90 % interval that is further from zero."""
    shrink = float(t.ppf(0.95, math.inf)) / NINETY_FIVE
    ends = estimate + shrink * (low - estimate), estimate + shrink * (high - estimate)
    return max(ends, key=abs)


# -- dossiers and settings ------------------------------------------------------------------


def compare_dossiers(dossier: Dossier, others: Sequence[Dossier]) -> Comparison:
    """Recommended settings of dossiers: what they promise for run time and shared analytes."""
    first = dossier.recommend()
    _must_recommend(dossier, first)
    answers: dict[str, Answer | Forecast] = {dossier.id: first}
    for other in others:
        answer = other.recommend()
        _must_recommend(other, answer)
        answers[other.id] = answer
    return Comparison(_forecast_differences(answers))


def compare_settings(dossier: Dossier, settings: Mapping[str, Setting]) -> Comparison:
    """Forecasts of settings, by their names, against the first of them.

    What the forecasts share is taken as independent, so that the intervals are on the wide
    side: settings are rather not told apart than called different too soon.
    """
    if len(settings) < 2:
        raise EntryError("Fewer than two settings are given.", "Choose two or more.")
    forecasts = dict(zip(settings, dossier.forecast(list(settings.values())), strict=True))
    unfinished = [n for n, f in forecasts.items() if not math.isfinite(f.run_time_min.mean)]
    if unfinished:
        raise EntryError(f"No run is forecast to finish at {unfinished[0]}.",
                         "Leave that setting out.")
    return Comparison(_forecast_differences(forecasts))


def _forecast_differences(
    forecasts: Mapping[str, Answer | Forecast]
) -> tuple[Difference, ...]:
    """Run time and shared analytes of every forecast against the first, judged together."""
    (first, a), *others = forecasts.items()
    found: list[Difference] = []
    for name, b in others:
        found.append(_forecast_difference("run time", "min", (first, name), a, b))
        found += [_forecast_difference(analyte, "points", (first, name), a, b)
                  for analyte in a.recovery_percent if analyte in b.recovery_percent]
    corrected = holm([d.p_value for d in found])
    return tuple(
        _judged(replace(d, p_value=p)) for d, p in zip(found, corrected, strict=True)
    )


def _must_recommend(dossier: Dossier, answer: Answer) -> None:
    if answer.setting is None:
        raise EntryError(f"Dossier {dossier.id} has no recommended setting.",
                         "Record more trials, or compare its trials by their ids.")


def _forecast_difference(
    what: str, unit: str, names: tuple[str, str], a: Answer | Forecast, b: Answer | Forecast
) -> Difference:
    first, second = names
    if unit == "min":
        one, two = a.run_time_min, b.run_time_min
        spread = [math.log(i.high / i.low) / (2 * NINETY_FIVE) for i in (one, two)]
        ratio = difference(math.log(two.mean / one.mean), math.hypot(*spread), math.inf)
        low, high = one.mean * math.expm1(ratio.low), one.mean * math.expm1(ratio.high)
        return Difference(what, unit, first, second, one.mean, two.mean,
                          two.mean - one.mean, low, high, ratio.p_value, "cannot tell", "")
    one, two = a.recovery_percent[what], b.recovery_percent[what]
    spread = [max(i.high - i.low, 1e-9) / (2 * NINETY_FIVE) for i in (one, two)]
    gap = difference(two.mean - one.mean, math.hypot(*spread), math.inf)
    return Difference(f"recovery of {what}", unit, first, second, one.mean, two.mean,
                      gap.estimate, gap.low, gap.high, gap.p_value, "cannot tell", "")
