"""Deciding a verification: pass, fail or not enough runs, by criteria written beforehand.

The first runs that complete the plan decide; later ones are listed but cannot turn the
decision, because trying until it passes would let bad methods through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, Literal

from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.events import Event
from experiments.job import EvaporationJob, Setting
from experiments.verification_criteria import NO_RUN, CriterionResult, criteria_results
from experiments.verification_plan import VerificationPlan, plan
from experiments.verification_runs import (
    VerificationRun,
    complete_prefix,
    planned,
    recorded_runs,
    usable_runs,
)

Decision = Literal["pass", "fail", "not enough runs"]


@dataclass(frozen=True)
class Verification:
    """The decision and everything it rests on."""

    decision: Decision
    reason: str
    plan: VerificationPlan
    criteria: tuple[CriterionResult, ...]
    counted: tuple[str, ...]
    set_aside: dict[str, str]
    later: tuple[str, ...]
    chance_of_passing: float

    def as_json(self) -> dict[str, Any]:
        """The keys that ``boilwright verify --json`` prints."""
        return {
            "decision": self.decision,
            "reason": self.reason,
            "criteria": [
                {"name": c.name, "analyte": c.analyte, "required": c.required, "found": c.found,
                 "limit": c.limit, "unit": c.unit, "met": c.met, "outcome": c.outcome,
                 "sentence": c.sentence, "decides": c.decides}
                for c in self.criteria
            ],
            "chance_of_passing": self.chance_of_passing,
            "runs_counted": list(self.counted),
            "runs_set_aside": dict(self.set_aside),
            "runs_after_the_decision": list(self.later),
        }


def decide(
    job: EvaporationJob, made: VerificationPlan, runs: Sequence[VerificationRun]
) -> Verification:
    """Decide by the plan's criteria; runs in the order they were recorded."""
    usable, set_aside = usable_runs(job, made, runs)
    count = complete_prefix(job, made, usable)
    complete = count is not None
    used = usable[:count]
    judged = runs[: runs.index(used[-1]) + 1] if complete else runs
    found = criteria_results(job, made, judged, used, complete)
    decision, reason = _decision(found, complete)
    return Verification(
        decision, reason, made, found, tuple(r.id for r in used), set_aside,
        tuple(r.id for r in runs[len(judged) :]), made.chance_of_passing,
    )


def verify(dossier: Dossier) -> Verification:
    """Decide on what a dossier records; without a plan in it, one is made from the job.

    Its last verification plan, else its recommended setting, is verified.
    """
    made = planned(dossier)
    if made is None:
        made = plan(dossier.fitted(), setting_to_verify(dossier))
    return decide(dossier.job, made, recorded_runs(dossier, made.setting))


def every_plan(dossier: Dossier) -> list[tuple[int, Verification]]:
    """Each plan in the record with its entry, and what was decided until the next one."""
    return [(noted.seq, verify(_before(dossier, end))) for noted, end in _plans(dossier)]


def why_it_failed(dossier: Dossier, setting: Setting | None) -> str:
    """By what the last verification of a setting that was decided failed; empty where none did.

    A plan written after a failure does not undo it; passing by that plan does.
    """
    for noted, end in reversed(_plans(dossier)):
        if noted.payload["setting"] == setting:
            found = verify(_before(dossier, end))
            if found.decision != "not enough runs":
                return found.reason if found.decision == "fail" else ""
    return ""


def _plans(dossier: Dossier) -> list[tuple[Event, int | None]]:
    """Each plan's entry, and the place of the next plan among the events."""
    places = [i for i, e in enumerate(dossier.events) if e.kind == "verification planned"]
    return [(dossier.events[start], end)
            for start, end in zip_longest(places, places[1:])]


def _before(dossier: Dossier, end: int | None) -> Dossier:
    """The dossier as it was before the event at that place; as it is without one."""
    return dossier if end is None else Dossier.from_events(dossier.events[:end])


def setting_to_verify(dossier: Dossier) -> Setting:
    """The recommended setting of a dossier, or the best compromise there is.

    The recommendation in the record comes first: runs made to prove it must not move it.
    """
    noted = dossier.details.recommendation
    if noted is not None and noted.get("setting"):
        return dict(noted["setting"])
    answer = dossier.recommend()
    if answer.setting is not None:
        return answer.setting
    if answer.compromise is not None:
        return answer.compromise.setting
    raise EntryError("There is no setting to verify.", "Record trials first.")


COVERAGE = ("runs", "days", "positions")


def _decision(found: Sequence[CriterionResult], complete: bool) -> tuple[Decision, str]:
    decides = [c for c in found if c.decides]
    failed = [c for c in decides if c.met is False]
    if failed:
        first = failed[0]
        more = f" ({len(failed) - 1} more)" if len(failed) > 1 else ""
        return "fail", f"Not met: {first.name}, {first.required}. {first.sentence}{more}"
    if not complete:
        missing = [c for c in decides if c.met is None and c.name in COVERAGE]
        text = " ".join(c.sentence for c in missing if c.sentence != NO_RUN)
        return "not enough runs", f"The plan is not complete. {text}"
    return "pass", f"All {len(decides)} criteria written beforehand are met."
