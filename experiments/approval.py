"""From a verified method to an approved one, and on to its next version.

An approved method is frozen. Whoever approves it is another person than those who entered
its results, unless the program is used by one local user alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from experiments.corrections import who_entered
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN, result_payload
from experiments.entries import EntryError, checked_reason, checked_text
from experiments.job import EvaporationJob
from experiments.job_differences import differences, results_carry_over
from experiments.job_file import parse
from experiments.service import JobSource, Session, append, change, load
from experiments.trials import Result, Trial
from experiments.users import Role
from experiments.wording import listed


def change_state(
    session: Session, dossier_id: str, to: str, reason: str = "", revision: int | None = None
) -> Dossier:
    """Move a dossier to another state.

    Raises
    ------
    NotAllowed
        without the role: "approve" to approve or retire, "enter" for the rest
    EntryError
        for a move that is not allowed, one that undoes a verification or retires a method without
        a reason, or an approval by who entered the results
    """
    role: Role = "approve" if to in FROZEN else "enter"

    def act(dossier: Dossier) -> None:
        undoes = (dossier.state, to) == ("verified", "running")
        if to == "retired" or undoes:
            checked_reason(reason)
        if to == "verified":
            _must_have_passed(dossier)
        if to == "approved" and not session.user.is_local:
            _must_be_another_person(dossier, session.user.name)
        dossier.move_to(to, reason)

    return change(session, dossier_id, act, revision, role)[0]


def new_version(
    session: Session, dossier_id: str, job: JobSource | None = None, reason: str = ""
) -> Dossier:
    """Start the next version of a dossier in any state; the record says what changed and why.

    Results come along when sample, equipment and factors stay the same and the keepers used are
    still offered; otherwise the new version starts without, and says so. The earlier version
    stays as it is, and trials still to be run stay with it (see :func:`staying_words`): results
    recorded there afterwards do not come along.
    """
    session.user.must("enter")
    old = load(session, dossier_id)
    new = old.job if job is None else job if isinstance(job, EvaporationJob) else parse(job)
    results = [(t, t.result) for t in old.trials if t.result is not None]
    carried = not results or results_carry_over(old.job, new, [t.setting for t, _ in results])
    dossier = Dossier.start(new, who=session.user.name, clock=session.clock, origin={
        "version": old.version + 1, "previous": old.id, "previous_hash": old.events[-1].hash,
        "reason": checked_text(reason, "The reason"), "results_carried": carried,
        "results_by": list(who_entered(old.events)) if carried else [],
        "changes": [asdict(d) for d in differences(old.job, new)],
    })
    if carried:
        for trial, result in results:
            _carry(dossier, old, trial, result)
    append(session, dossier, 0)
    return dossier


def staying_words(dossier: Dossier) -> str:
    """Which trials a new version leaves behind; empty where none is still to be run."""
    ids = [t.id for t in dossier.pending]
    return f"Still to be run in {dossier.id}, and staying there: {listed(ids, 12)}." if ids else ""


def _must_have_passed(dossier: Dossier) -> None:
    from experiments.verification import verify

    if not any(v["kind"] == "verification recorded" for v in dossier.details.verification):
        raise EntryError("This method has not been verified.", "Record verification runs first.")
    found = verify(dossier)
    if found.decision != "pass":
        raise EntryError(f"The verification's decision is {found.decision!r}. {found.reason}",
                         "A method is verified only by a pass.")


def _must_be_another_person(dossier: Dossier, name: str) -> None:
    if name in who_entered(dossier.events):
        raise EntryError(f"{name} entered results of this dossier and cannot approve it too.",
                         "Ask another person with that role.")


def _carry(dossier: Dossier, old: Dossier, trial: Trial, result: Result) -> None:
    """Take a result along, onto today's method where it is the same setting."""
    names = {a.name for a in dossier.job.analytes}
    payload: dict[str, Any] = result_payload(result)
    for part in ("recovery", "is_mean"):
        kept: Mapping[str, Any] = payload[part]
        payload[part] = {n: v for n, v in kept.items() if n in names}
    same = (t for t in dossier.pending if t.setting == trial.setting and trial.origin == "today")
    target = next(same, None)
    if target is None:
        trial_id = dossier.enter_pending(
            trial.setting, "entered",
            f"Run as {trial.id} of version {old.version} (dossier {old.id}).")
    else:
        trial_id = target.id
    dossier.note_event("recorded", {"trial": trial_id, "result": payload})
    if trial.id in old.details.traces:
        dossier.note_event("trace attached",
                           {**old.details.traces[trial.id], "trial": trial_id})
    if trial.state == "excluded":
        why = next(c["reason"] for c in reversed(old.details.changes)
                   if c["kind"] == "excluded" and c["trial"] == trial.id)
        dossier.note_event("excluded", {"trial": trial_id, "reason": why})
