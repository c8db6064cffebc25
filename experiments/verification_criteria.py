"""Each criterion of a verification with the figure found, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.acceptance import AnalyteCriteria
from experiments.job import EvaporationJob
from experiments.trials import FAILING
from experiments.verification_plan import VerificationPlan
from experiments.verification_rules import Assessment, assess
from experiments.verification_runs import (
    VerificationRun,
    missing_positions,
    summarise,
    worst_case,
)
from models.errors import OutOfRange
from models.significance import holm
from models.variance import PositionEffect, position_effect

NO_RUN = "No run yet."
"""What a criterion says before the first run that counts."""


@dataclass(frozen=True)
class CriterionResult:
    """One criterion with the figure found; ``met`` is None while it cannot be judged."""

    name: str
    analyte: str | None
    required: str
    found: float | None
    limit: float | None
    unit: str
    met: bool | None
    sentence: str
    decides: bool = True

    @property
    def outcome(self) -> str:
        return "open" if self.met is None else "met" if self.met else "not met"

    @property
    def outcome_words(self) -> str:
        """The outcome as readers see it, who must not take what only informs for a criterion."""
        return self.outcome if self.decides else "for information"

    @property
    def title(self) -> str:
        """The name, with the analyte it is about."""
        return f"{self.name}, {self.analyte}" if self.analyte else self.name


def criteria_results(
    job: EvaporationJob, made: VerificationPlan, runs: Sequence[VerificationRun],
    used: Sequence[VerificationRun], complete: bool,
) -> tuple[CriterionResult, ...]:
    """Every criterion, met or not; None while it cannot be judged yet.

    Parameters
    ----------
    runs : all runs made up to the decision
    used : those that count
    complete : whether they complete the plan
    """
    return (
        *_outcomes(runs, used, made),
        *_coverage(job, made, used),
        *_run_times(made, used, complete),
        *_recoveries(made, used, complete),
        *_positions(job, made, used),
    )


def _outcomes(
    runs: Sequence[VerificationRun], used: Sequence[VerificationRun], made: VerificationPlan
) -> list[CriterionResult]:
    """Every run at the set point must finish; an aborted one is set aside, not failed."""
    broken = [
        r for r in runs if r.setting == made.setting and r.result.outcome in FAILING
    ]
    text = (
        f"{', '.join(f'{r.id} ended as {r.result.outcome}' for r in broken)}."
        if broken else f"All {len(used)} runs that count finished without boil-over. "
        f"{_still_possible(len(used), made.criteria.confidence)}"
    )
    met = False if broken else True if used else None
    return [CriterionResult(
        "every run finishes", None, "no run boils over or stays wet", float(len(broken)), 0.0,
        "runs", met, text if met is not None else NO_RUN,
    )]


def _still_possible(runs: int, confidence: float) -> str:
    """The share of failing runs that none in so many still allows (Clopper & Pearson 1934)."""
    if not runs:
        return ""
    share = 1.0 - (1.0 - confidence) ** (1.0 / runs)
    return (f"So few runs say with {100 * confidence:g} % confidence that fewer than "
            f"{100 * share:.0f} % of runs fail.")


def _coverage(
    job: EvaporationJob, made: VerificationPlan, used: Sequence[VerificationRun]
) -> list[CriterionResult]:
    rules = made.criteria
    days = len({r.result.day_key for r in used})
    missing = missing_positions(job, made, used)
    places = job.equipment.vessels - len(missing)
    rows = [
        ("runs", len(used), rules.runs, f"{len(used)} of {rules.runs} planned runs count."),
        ("days", days, rules.days, f"They were made on {days} of at least {rules.days} days."
         if used else NO_RUN),
        ("positions", places, job.equipment.vessels,
         _position_words(missing, job.equipment.vessels)),
    ]
    return [
        CriterionResult(name, None, f"at least {limit}", float(found), float(limit), name,
                        True if found >= limit else None, sentence)
        for name, found, limit, sentence in rows
    ]


def _position_words(missing: Sequence[int], vessels: int) -> str:
    if not missing:
        return "Every vessel position was measured."
    if len(missing) == vessels:
        return "No vessel position was measured yet."
    return f"Not measured yet: vessel {', '.join(map(str, missing))}."


def _run_times(
    made: VerificationPlan, used: Sequence[VerificationRun], complete: bool
) -> list[CriterionResult]:
    times = [r.result.run_time_min for r in used if r.result.run_time_min is not None]
    limit = made.criteria.max_run_time_min
    longest = max(times, default=None)
    low, high = made.run_time_low, made.run_time_high
    outside = [x for x in times if not low <= x <= high]
    over = longest is not None and longest > limit
    return [
        CriterionResult(
            "longest run", None, f"at most {limit:g} min", longest, limit, "min",
            False if over else True if complete else None,
            NO_RUN if longest is None else
            f"The longest run took {longest:.3g} min; at most {limit:g} min are allowed.",
        ),
        CriterionResult(
            "run time as predicted", None, f"every run between {low:.3g} and {high:.3g} min",
            float(len(outside)), 0.0, "runs", (not outside) if complete else None,
            NO_RUN if longest is None else
            f"{len(outside)} of {len(times)} runs lie outside what was predicted for single runs.",
        ),
    ]


def _recoveries(
    made: VerificationPlan, used: Sequence[VerificationRun], complete: bool
) -> list[CriterionResult]:
    if len(used) < 2 or len({r.result.day_key for r in used}) < 2:
        return []
    judged = assess(summarise(made, used), made.criteria)
    found = []
    for a, row in enumerate(made.criteria.deciding):
        found += _analyte_results(made, row, judged, a, complete)
    return found


def _analyte_results(
    made: VerificationPlan, row: AnalyteCriteria, judged: Assessment, a: int, complete: bool
) -> list[CriterionResult]:
    rules = made.criteria
    mean, lower, rsd = (float(x[0, a]) for x in (judged.mean, judged.lower_limit, judged.rsd))
    share = f"{100 * rules.confidence:g} %"
    rows = [
        ("mean in band", f"{row.mean_low:g} to {row.mean_high:g} %", mean, row.mean_low,
         f"The mean recovery of {row.analyte} is {mean:.1f} %."),
        ("scatter", f"RSD at most {row.rsd_max:g} %", rsd, row.rsd_max,
         f"Single vessels of {row.analyte} scatter by {rsd:.1f} % (RSD, runs and days included)."),
        ("confidence limit", f"mean above {row.target:g} % with {share} confidence", lower,
         row.target, f"With {share} confidence the mean of {row.analyte} is above {lower:.1f} %."),
    ]
    if row.action_limit is not None:
        limit = float(judged.tolerance_limit[0, a])
        rows.append((
            "tolerance limit", f"{100 * rules.coverage:g} % of vessels above "
            f"{row.action_limit:g} % with {share} confidence", limit, row.action_limit,
            f"With {share} confidence {100 * rules.coverage:g} % of single vessels of "
            f"{row.analyte} are above {limit:.1f} %.",
        ))
    return [
        CriterionResult(name, row.analyte, required, value, bound, "%",
                        bool(judged.holds[name][0, a]) if complete else None, sentence)
        for name, required, value, bound, sentence in rows
    ]


def _positions(
    job: EvaporationJob, made: VerificationPlan, used: Sequence[VerificationRun]
) -> list[CriterionResult]:
    """Whether some vessel positions recover differently; told, but not a reason to fail."""
    tested: dict[str, PositionEffect] = {}
    for row in made.criteria.deciding:
        values = np.full((len(used), job.equipment.vessels), np.nan)
        for i, run in enumerate(used):
            if not run.result.is_mean.get(row.analyte, False):
                for j, reading in enumerate(run.result.recovery.get(row.analyte, ())):
                    if reading is not None:
                        values[i, j] = worst_case(reading)
        try:
            tested[row.analyte] = position_effect(values)
        except OutOfRange:
            continue
    if not tested:
        return []
    corrected = dict(zip(tested, holm([e.p_value for e in tested.values()]), strict=True))
    name = min(corrected, key=lambda n: corrected[n])
    effect = tested[name]
    worst = min(effect.means, key=lambda p: effect.means[p])
    even = corrected[name] >= 0.05
    sentence = (
        f"No effect of the vessel position shows (smallest corrected p {corrected[name]:.2g}, "
        f"{name})." if even else
        f"Vessel {worst} gives {-effect.means[worst]:.1f} points less {name} than the others on "
        f"average (corrected p {corrected[name]:.2g}); look at its seat, seal and wall contact."
    )
    return [CriterionResult("vessel positions alike", name, "corrected p at least 0.05",
                            corrected[name], 0.05, "p", even, sentence, decides=False)]
