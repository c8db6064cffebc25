"""The verification: plan, criteria and decision in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from experiments.job import EvaporationJob
from experiments.verification import Verification
from experiments.verification_criteria import CriterionResult
from experiments.verification_plan import HOPELESS, VerificationPlan
from experiments.verification_runs import VerificationRun
from experiments.wording import listed, percent
from wizard.charts.differences import ReplicateReading
from wizard.units import Units

DECISIONS = {"pass": "Passed.", "fail": "Not passed.", "not enough runs": "Not enough runs yet."}
SIGNS = {True: ":material/check: met", False: ":material/close: not met",
         None: ":material/hourglass_empty: open"}


def plan_sentence(made: VerificationPlan) -> str:
    """The plan and its chance, in a sentence."""
    c = made.criteria
    return (
        f"{c.runs} runs on at least {c.days} days, every vessel position used; the chance of "
        f"passing is {percent(made.chance_of_passing)}. Criteria: {c.source}."
    )


def plan_lines(made: VerificationPlan) -> list[dict[str, str]]:
    """What each analyte must show, and from which true mean the plan usually passes."""
    lines = []
    for row in made.criteria.analytes:
        needed = made.needed_mean.get(row.analyte)
        lines.append({
            "analyte": row.analyte,
            "mean between": f"{row.mean_low:g}\u00a0and\u00a0{row.mean_high:g} %",
            "confidence limit above": f"{row.target:g} %",
            "relative sd at most": f"{row.rsd_max:g} %",
            "usually passes from a mean of": (
                "watched" if not row.decides
                else "none" if needed is None else f"{needed:.0f} %"
            ),
        })
    return lines


def needed_sentence(made: VerificationPlan) -> str:
    """What the last column of the plan's lines means where it holds a word."""
    watched = any(not row.decides for row in made.criteria.analytes)
    scattered = any(row.decides and made.needed_mean.get(row.analyte) is None
                    for row in made.criteria.analytes)
    return " ".join((
        *(["None: single runs scatter too widely for any true mean to pass usually."]
          if scattered else []),
        *(["Watched: reported, and decides nothing."] if watched else [])))


def schedule_lines(made: VerificationPlan) -> list[dict[str, str]]:
    """Runs by day, with the place of the blank."""
    return [
        {"run": r.id, "day": str(r.day),
         "blank in vessel": "–" if r.blank_vessel is None else str(r.blank_vessel)}
        for r in made.runs
    ]


def criterion_lines(criteria: Sequence[CriterionResult], units: Units) -> list[dict[str, str]]:
    """Each criterion with what was found; those that only inform come last."""
    ordered = sorted(criteria, key=lambda c: (not c.decides, c.met is True))
    return [
        {
            "criterion": c.title,
            "outcome": SIGNS[c.met] if c.decides else ":material/info: for information",
            "required": units.sentence(c.required),
            "found": units.sentence(c.sentence),
        }
        for c in ordered
    ]


def decision_text(found: Verification, units: Units) -> tuple[str, str]:
    """Headline and reason of the decision."""
    return DECISIONS[found.decision], units.sentence(found.reason)


def offer_sentence(runs: Sequence[str]) -> str:
    """What becomes of the runs of a failed verification, when the analyst wants it."""
    as_trials = "a trial of this setting it" if len(runs) == 1 else "trials of this setting they"
    return (f"The forecasts have not learnt from {listed(runs, 12)} yet. As {as_trials} may move "
            "the recommendation, count in the budget of trials, and no longer prove anything; the "
            "decision above stays.")


def learnt_sentence(taken: Mapping[str, str]) -> str:
    """Which runs are trials by now; empty where none is."""
    if not taken:
        return ""
    return (f"The forecasts learn from these runs: "
            f"{listed([f'{run} is trial {trial}' for run, trial in taken.items()], 12)}.")


def replicate_readings(
    runs: Sequence[VerificationRun], job: EvaporationJob, counted: Collection[str]
) -> list[ReplicateReading]:
    """Every reading of the verification runs; censored ones stand at their limit."""
    return [
        ReplicateReading(run.id, a.name, r.percent, run.id in counted, r.censored)
        for run in runs for a in job.must
        for r in run.result.recovery.get(a.name, ()) if r is not None
    ]


def limits_of(made: VerificationPlan) -> dict[str, tuple[float, float]]:
    """The band of the mean for each analyte that decides."""
    return {r.analyte: (r.mean_low, r.mean_high) for r in made.criteria.deciding}


def sameness_sentence(made: VerificationPlan) -> str:
    """What it means that every number of runs has the same chance; empty where they differ."""
    sizes = [c.runs for c in made.alternatives]
    shared = {percent(c.chance, digits=0) for c in made.alternatives}
    if len(shared) > 1:
        return ""
    lead = (f"{min(sizes)} to {max(sizes)} runs all have the same chance of passing, "
            f"{shared.pop()}:")
    scattered = [name for name, needed in made.needed_mean.items() if needed is None]
    if is_hopeless(made) and scattered:
        return (f"{lead} single runs of {listed(scattered)} scatter too widely, which no number "
                "of runs helps. Look for vessels that run hotter, colder or longer than the "
                "others, or write another limit beforehand, with its reason.")
    if is_hopeless(made):
        return f"{lead} no number of runs helps. Look for a setting further from its target."
    return f"{lead} more runs are worth it only where your procedure asks for them."


def is_hopeless(made: VerificationPlan) -> bool:
    """Whether no plan is worth choosing before another."""
    return all(c.chance < HOPELESS for c in made.alternatives)


def alternative_lines(made: VerificationPlan) -> list[dict[str, Any]]:
    """Numbers of runs with their chance of passing, the best days for each."""
    best: dict[int, Any] = {}
    for design in made.alternatives:
        held = best.get(design.runs)
        if held is None or design.chance > held.chance:
            best[design.runs] = design
    return [
        {"runs": str(n), "days": str(d.days), "chance of passing": percent(d.chance)}
        for n, d in sorted(best.items())
    ]
