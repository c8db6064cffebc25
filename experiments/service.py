"""The use-cases: what the command line and the wizard may do with a store.

Each is one function of a :class:`Session` (store, user, clock); each loads, acts, and saves
once. Roles are checked here, first for the use-case and then for every event it would save;
states are checked in the dossier. A change that did not say which revision it was made on is
tried again when somebody else was faster; one that did is refused, so that the reader decides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Unpack

from experiments import logs
from experiments.answers import Answer
from experiments.corrections import Amendment
from experiments.dossier import Dossier, utc_now
from experiments.entries import EntryError
from experiments.event_checks import ID, role_for
from experiments.events import ChainCheck, Event, verify_chain
from experiments.job import EvaporationJob
from experiments.job_file import parse
from experiments.progress import Progress
from experiments.results_table import ReadTable, RejectedRow, UnderstoodTrial, read_table
from experiments.storage.protocol import (
    DossierStore,
    StaleRevision,
    StoreError,
    Summary,
    UnknownDossier,
)
from experiments.storage.protocol import append as append_events
from experiments.summaries import summarise
from experiments.trials import Trial
from experiments.users import Role, User

JobSource = str | Path | Mapping[str, Any] | EvaporationJob
TRIES = 3
"""How often a change is made again on what others saved in between, before it waits its turn."""


@dataclass(frozen=True)
class Session:
    """A store, who uses it, and the clock."""

    store: DossierStore
    user: User
    clock: Callable[[], str] = utc_now


def create(
    session: Session, job: JobSource, dossier_id: str | None = None, earlier: str | None = None
) -> Dossier:
    """Start a dossier and save it; ``earlier`` names one whose results teach the new one."""
    session.user.must("enter")
    if dossier_id is not None and not ID.fullmatch(dossier_id):
        raise EntryError(f"{dossier_id[:80]!r} cannot name a dossier.",
                         "Use up to 64 letters, digits, hyphens and underscores.")
    dossier = Dossier.start(job, who=session.user.name, clock=session.clock,
                            dossier_id=dossier_id,
                            earlier=load(session, earlier) if earlier is not None else None)
    try:
        append(session, dossier, 0)
    except StaleRevision:
        raise EntryError(f"There is a dossier {dossier.id} already.",
                         "Give another id, or go on with that one.") from None
    return dossier


def load(session: Session, dossier_id: str) -> Dossier:
    """The dossier of that id, its history verified.

    Raises
    ------
    UnknownDossier, StoreError
        when it is not there, or was changed by other means than this program
    """
    session.user.must("read")
    if not ID.fullmatch(dossier_id):
        raise UnknownDossier(dossier_id)
    events = session.store.events(dossier_id)
    check = verify_chain(events)
    if not check.holds:
        raise _broken(dossier_id, check.first_broken)
    return Dossier.from_events(events, who=session.user.name, clock=session.clock)


def summaries(session: Session) -> list[Summary]:
    """All dossiers, last changed first."""
    session.user.must("read")
    return session.store.summaries()


def change_job(
    session: Session, dossier_id: str, job: JobSource, revision: int | None = None
) -> Dossier:
    """Change the job of a dossier that has no trials yet."""
    read = job if isinstance(job, EvaporationJob) else parse(job)
    return change(session, dossier_id, lambda d: d.change_job(read), revision)[0]


def propose(
    session: Session, dossier_id: str, n: int, progress: Progress | None = None
) -> tuple[Dossier, list[Trial]]:
    """Propose trials and save them as pending; refused while a danger is not authorised."""
    from experiments.authorisation import must_be_authorised

    def act(dossier: Dossier) -> list[Trial]:
        must_be_authorised(dossier)
        return dossier.propose(n, progress)

    with logs.timed("propose", dossier=dossier_id):
        return change(session, dossier_id, act)


def plan_robustness(session: Session, dossier_id: str) -> tuple[Dossier, list[Trial]]:
    """Enter the runs of a robustness study around the setting to verify, as pending trials."""
    from experiments.authorisation import must_be_authorised
    from experiments.robustness import plan_robustness as plan
    from experiments.verification import setting_to_verify

    def act(dossier: Dossier) -> list[Trial]:
        must_be_authorised(dossier)
        return plan(dossier, setting_to_verify(dossier))

    return change(session, dossier_id, act)


def authorise(session: Session, dossier_id: str, by: str, reason: str) -> Dossier:
    """Note that a named person authorises a job that can hurt someone."""
    from experiments.authorisation import authorise as note

    return change(session, dossier_id, lambda d: note(d, by, reason), role="approve")[0]


def withdraw(session: Session, dossier_id: str, trial_id: str, reason: str = "") -> Dossier:
    """Take a pending trial back."""
    return change(session, dossier_id, lambda d: d.withdraw(trial_id, reason))[0]


def record(session: Session, dossier_id: str, trial_id: str | None = None,
           revision: int | None = None, **values: Any) -> Dossier:
    """Record one trial (see :meth:`experiments.dossier.Dossier.record`)."""
    return change(session, dossier_id, lambda d: d.record(trial_id, **values), revision)[0]


def correct(
    session: Session, dossier_id: str, trial_id: str, reason: str, **values: Unpack[Amendment]
) -> Dossier:
    """Correct a recorded result by a new row that says why."""
    from experiments.verification_trials import must_be_corrected_here

    def act(dossier: Dossier) -> None:
        must_be_corrected_here(dossier, trial_id)
        dossier.correct(trial_id, reason, **values)

    return change(session, dossier_id, act)[0]


def exclude(session: Session, dossier_id: str, trial_id: str, reason: str) -> Dossier:
    """Keep a result out of the fit, with a reason."""
    return change(session, dossier_id, lambda d: d.exclude(trial_id, reason))[0]


def include(session: Session, dossier_id: str, trial_id: str, reason: str) -> Dossier:
    """Let an excluded result count again."""
    return change(session, dossier_id, lambda d: d.include(trial_id, reason))[0]


def preview_table(session: Session, dossier_id: str, data: bytes | str) -> ReadTable:
    """What a table would record; nothing is saved."""
    return _understood(load(session, dossier_id), data)


def record_table(
    session: Session, dossier_id: str, data: bytes | str, revision: int | None = None
) -> tuple[Dossier | None, ReadTable, list[str]]:
    """Record a whole table or nothing; gives the ids recorded."""
    session.user.must("enter")

    def act(dossier: Dossier) -> tuple[ReadTable, list[str]]:
        table = _understood(dossier, data)
        return table, dossier.record_all(map(_values, table.trials)) if table.is_clean else []

    dossier, (table, ids) = change(session, dossier_id, act, revision)
    return (dossier if table.is_clean else None), table, ids


def recommend(
    session: Session, dossier_id: str, robust: bool = True, progress: Progress | None = None
) -> tuple[Dossier, Answer]:
    """Recommend, and note the recommendation in the record when it is new."""
    dossier = load(session, dossier_id)
    answer = searched(dossier, robust, progress)
    if robust:
        note_answer(session, dossier, answer)
    return dossier, answer


def searched(dossier: Dossier, robust: bool = True, progress: Progress | None = None) -> Answer:
    """The recommendation for a dossier as it stands; nothing is noted."""
    with logs.timed("recommend", dossier=dossier.id):
        return dossier.recommend(robust, progress)


def note_answer(session: Session, dossier: Dossier, answer: Answer) -> None:
    """Note a recommendation in the record, and what it makes of the dossier, where they are new.

    Nothing is noted for a reader who may not enter, nor once the method is verified; where
    somebody saved in between, the next look notes what holds then.
    """
    session.user.must("read")
    if "enter" not in session.user.roles or dossier.state not in ("running", "recommended"):
        return
    held = len(dossier.events)
    payload = {
        "status": answer.status, "setting": answer.setting, "reason": answer.reason,
        "probability": answer.probability, "run_time_min": asdict(answer.run_time_min),
        "recovery_percent": {k: asdict(v) for k, v in answer.recovery_percent.items()},
        "trials": [t.id for t in dossier.recorded],
    }
    if dossier.details.recommendation != payload:
        dossier.note_event("recommended", payload)
    becomes = "recommended" if answer.status == "recommended" else "running"
    if becomes != dossier.state:
        dossier.move_to(becomes)
    with suppress(StaleRevision):
        append(session, dossier, held)


def report(
    session: Session, dossier_id: str, ending: str, progress: Progress | None = None
) -> bytes:
    """The justification of a dossier as a file of that ending; noted in the store's log.

    Raises
    ------
    EntryError
        for a dossier without results, or an ending that cannot be written
    """
    from experiments.report import render

    dossier = load(session, dossier_id)
    if not any(t.result is not None for t in dossier.trials):
        raise EntryError("This dossier has no results to report.", "Record trials first.")
    with logs.timed("report", dossier=dossier_id):
        data = render(dossier, ending, progress=progress)
    session.store.note(session.clock(), session.user.name, "report",
                       {"dossier": dossier_id, "format": ending, "revision": len(dossier.events)})
    return data


def change(
    session: Session, dossier_id: str, action: Callable[[Dossier], Any],
    revision: int | None = None, role: Role = "enter",
) -> tuple[Dossier, Any]:
    """Load a dossier, act on it and save what that added; gives what the action gave.

    Parameters
    ----------
    revision : the revision the user saw; without it the action is repeated on the newer
        dossier when somebody saved in between

    Raises
    ------
    StaleRevision
        when the dossier has moved on from ``revision``
    """
    session.user.must(role)
    read = load(session, dossier_id)
    if revision is not None and revision != len(read.events):
        raise StaleRevision(read.events[revision:])
    for _ in range(TRIES):
        dossier = read.continued()
        given = action(dossier)
        try:
            append(session, dossier, len(read.events))
        except StaleRevision as stale:
            if revision is not None:
                raise
            read = _followed(read, stale.newer)
        else:
            return dossier, given
    return _change_in_turn(session, read, action)


def append(session: Session, dossier: Dossier, held: int) -> int:
    """Save the events that a use-case added after ``held``; returns the revision.

    Raises
    ------
    NotAllowed
        without the role that one of the events needs
    StaleRevision
        when somebody else saved in between
    """
    new = _allowed(session, dossier.events[held:])
    if not new:
        return held
    revision = append_events(session.store, dossier.id, new, held, summarise(dossier))
    logs.note("dossier saved", dossier=dossier.id, revision=revision)
    return revision


def audit(session: Session) -> dict[str, ChainCheck]:
    """Verify the chain of every dossier, and that none of its last events is gone."""
    session.user.must("read")
    return {s.id: _audited(session, s) for s in session.store.summaries()}


# -- inside ----------------------------------------------------------------------------


def _change_in_turn(
    session: Session, read: Dossier, action: Callable[[Dossier], Any]
) -> tuple[Dossier, Any]:
    """Act on the newest events while nobody else may save to the dossier."""
    done: list[tuple[Dossier, Any]] = []

    def build(newer: Sequence[Event]) -> tuple[Sequence[Event], Summary]:
        newest = _followed(read, newer)
        held = len(newest.events)
        given = action(newest)
        done.append((newest, given))
        return _allowed(session, newest.events[held:]), summarise(newest)

    revision = session.store.extend(read.id, len(read.events), build)
    logs.note("dossier saved", dossier=read.id, revision=revision)
    return done[-1]


def _followed(dossier: Dossier, newer: Sequence[Event]) -> Dossier:
    """A dossier with what others added since; only that is verified and read again."""
    if newer and not verify_chain(newer, dossier.events[-1]).holds:
        raise _broken(dossier.id, newer[0].seq)
    return dossier.continued(newer)


def _broken(dossier_id: str, seq: int | None) -> StoreError:
    return StoreError(
        f"The history of dossier {dossier_id} is broken at event {seq}.",
        "Restore the store from a backup; `boilwright audit` checks all dossiers.",
    )


def _allowed(session: Session, events: Sequence[Event]) -> Sequence[Event]:
    """The events, when their author may cause each of them."""
    for role in sorted({role_for(e) for e in events}):
        session.user.must(role)
    return events


def _audited(session: Session, summary: Summary) -> ChainCheck:
    try:
        check = verify_chain(session.store.events(summary.id))
    except UnknownDossier:
        check = ChainCheck(True, 0, None)
    if check.holds and check.events != summary.revision:
        return ChainCheck(False, check.events, min(check.events, summary.revision) + 1)
    return check


def _values(trial: UnderstoodTrial) -> dict[str, Any]:
    return {
        "trial_id": trial.trial, "setting": trial.setting, "run_time_min": trial.run_time_min,
        "outcome": trial.outcome, "recovery_percent": trial.recovery_percent,
        "remark": trial.remark, "day": trial.day, "corrected": trial.corrected,
    }


def _understood(dossier: Dossier, data: bytes | str) -> ReadTable:
    """A table as read, with what the dossier itself would refuse, found on a copy."""
    table = read_table(data, dossier.job, dossier.trials)
    if not table.is_clean:
        return table
    copy, rejected = dossier.continued(), []
    for trial in table.trials:
        try:
            copy.record(**_values(trial))
        except EntryError as error:
            rejected.append(RejectedRow(trial.rows[0], error.message, error.cure))
    return ReadTable(table.trials, tuple(rejected), table.notes)
