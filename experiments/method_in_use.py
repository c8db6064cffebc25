"""The method in use against the recommended one: minutes, samples a week, recoveries by day.

Where both methods were run on the same days, what a day does to both of them drops out of their
difference: it is judged by pairs, a mean of each method a day.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import t

from experiments.consequences import consequences
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
from experiments.job import Setting
from experiments.trials import Result
from experiments.verification_runs import recorded_runs
from experiments.wording import counted, listed
from models.equivalence import paired

LEAST_DAYS = 3
"""Fewer days do not tell two methods apart (common practice, no source)."""


def today_against_recommended(
    dossier: Dossier, found: tuple[Difference, ...] = ()
) -> Comparison:
    """The method in use and the recommended one: minutes, samples a week, recoveries by day.

    ``found`` are differences already known; those paired by day are added to them.
    """
    job = dossier.job
    if job.today is None:
        return Comparison(found)
    answer = dossier.recommend()
    if answer.setting is None:
        text = "There is no recommended setting yet to compare the method in use with."
        return Comparison(found, sentences=(text,))
    paired_days = side_by_side(dossier, answer.setting)
    found = (*found, *paired_days)
    made = {t.id: t.result for t in dossier.recorded if t.setting == job.today and t.result}
    ran = [r.run_time_min for r in made.values() if r.outcome == "finished" and r.run_time_min]
    failed = [f"{i}: {r.outcome}" for i, r in made.items() if r.outcome != "finished"]
    forecast = dossier.forecast([job.today])[0].run_time_min
    if failed and not ran:
        how = listed(failed)
        return Comparison(found, sentences=(
            f"The method in use has not finished a run ({how}), so there is no run time to "
            f"compare; the recommended one takes {answer.run_time_min.mean:.0f} min (forecast).",))
    today = consequences(job, float(np.mean(ran)) if ran else forecast.mean)
    new = consequences(job, answer.run_time_min.mean)
    source = f"measured in {counted(len(ran), 'run')}" if ran else "forecast"
    return Comparison(found, today, new, (
        f"A batch takes {new.run_time_min:.0f} min (forecast) instead of "
        f"{today.run_time_min:.0f} min ({source}), {today.run_time_min - new.run_time_min:.0f} "
        "min less.",
        f"In a working day {new.batches_a_day} batches fit instead of {today.batches_a_day}: "
        f"{new.samples_a_week} samples a week instead of {today.samples_a_week} "
        f"({new.assumption}).",
        *(() if paired_days else (
            f"Recoveries were not compared side by side: run both methods on {LEAST_DAYS} days or "
            "more, and give the day with the results.",)),
    ))


def side_by_side(dossier: Dossier, setting: Setting) -> tuple[Difference, ...]:
    """Recoveries at a setting against those of the method in use, paired by day.

    Trials and verification runs count; of each analyte that was measured with both methods on
    :data:`LEAST_DAYS` days or more. What is called different is corrected for all of them.
    """
    trials = {t.id: (t.setting, t.result) for t in dossier.recorded if t.result is not None}
    runs = trials | {r.id: (r.setting, r.result) for r in recorded_runs(dossier, setting)}
    in_use = [result for where, result in runs.values() if where == dossier.job.today]
    new = [result for where, result in runs.values() if where == setting]
    pairs = {}
    for analyte in dossier.job.analytes:
        first, second = (_spans_by_day(results, analyte.name) for results in (in_use, new))
        days = sorted(first.keys() & second.keys())
        if len(days) >= LEAST_DAYS:
            pairs[analyte.name] = ({d: first[d] for d in days}, {d: second[d] for d in days})
    return tuple(_by_day(*spans, name, looked_at=len(pairs)) for name, spans in pairs.items())


def _spans_by_day(results: Sequence[Result], analyte: str) -> dict[str, Span]:
    """Lowest and highest mean in percent of each day with finished runs that were not corrected.

    The two differ where readings lie below their limit.
    """
    found: dict[str, list[Span]] = {}
    for result in results:
        span = result.mean_span(analyte)
        is_known = result.outcome == "finished" and result.day and not result.corrected
        if is_known and math.isfinite(span[0]):
            found.setdefault(result.day_key, []).append(span)
    return {day: _middle(spans) for day, spans in found.items()}


def _middle(spans: Iterable[Span]) -> Span:
    low, high = np.mean(list(spans), axis=0)
    return float(low), float(high)


def _by_day(
    first: Mapping[str, Span], second: Mapping[str, Span], what: str, looked_at: int
) -> Difference:
    """The difference on the same days, whatever the readings below a limit really were."""
    def at(one: float, two: float) -> Difference:
        """Each side at a share of the way from its lowest to its highest means."""
        a, b = ({d: low + part * (high - low) for d, (low, high) in spans.items()}
                for spans, part in ((first, one), (second, two)))
        return compare_by_day(a, b, what, looked_at=looked_at)

    made = with_spans(at(0.5, 0.5), [at(1.0, 0.0), at(0.0, 1.0)],
                      _middle(first.values()), _middle(second.values()))
    return replace(made, sentence=sentence_of(made, made.verdict, f"{RECOVERY_MARGIN:g} points"))


def compare_by_day(
    first: Mapping[str, float], second: Mapping[str, float], what: str,
    margin: float = RECOVERY_MARGIN, looked_at: int = 1,
) -> Difference:
    """Two methods run side by side, one mean a day each, against an equivalence margin.

    Parameters
    ----------
    first, second : mean recovery in percent by day, of the method in use and the new one
    what : the analyte
    margin : points that do not matter
    looked_at : analytes that are judged together (Bonferroni)
    """
    days = sorted(set(first) & set(second))
    a, b = (np.array([m[d] for d in days]) for m in (first, second))
    found = paired(a, b, margin)
    free = found.pairs - 1
    error = (found.high - found.low) / (2.0 * float(t.ppf(0.95, free)))
    reach, wide = (float(t.ppf(1.0 - 0.025 / n, free)) * error for n in (1, looked_at))
    verdict: Verdict = (
        "same" if found.equivalent else
        "different" if abs(found.estimate) > wide else "cannot tell"
    )
    made = Difference(
        f"recovery of {what}", "points", "the method in use", "the new method",
        float(a.mean()), float(b.mean()), found.estimate, found.estimate - reach,
        found.estimate + reach, found.p_value, verdict, "",
    )
    return replace(made, sentence=sentence_of(made, verdict, f"{margin:g} points"))
