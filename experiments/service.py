"""The use-cases: what the command line and the wizard may do with a store.

Each is one function of a :class:`Session` (store, user, clock); each loads, acts, and saves
once. Roles and states are checked here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments import logs
from experiments.answers import Answer
from experiments.dossier import Dossier, utc_now
from experiments.dossier_state import MOVES
from experiments.entries import EntryError
from experiments.events import ChainCheck, verify_chain
from experiments.job import EvaporationJob
from experiments.job_file import parse
from experiments.job_text import to_mapping
from experiments.results_table import ReadTable, UnderstoodTrial, read_table
from experiments.storage.protocol import DossierStore, Summary
from experiments.trials import Trial
from experiments.users import User

if TYPE_CHECKING:
    from experiments.fitted import Progress

JobSource = str | Path | Mapping[str, Any] | EvaporationJob


@dataclass(frozen=True)
class Session:
    """A store, who uses it, and the clock."""

    store: DossierStore
    user: User
    clock: Callable[[], str] = utc_now


def create(session: Session, job: JobSource, dossier_id: str | None = None) -> Dossier:
    """Start a dossier and save it."""
    session.user.must("enter")
    dossier = Dossier.start(job, who=session.user.name, clock=session.clock,
                            dossier_id=dossier_id)
    _save(session, dossier, 0)
    return dossier


def load(session: Session, dossier_id: str) -> Dossier:
    """The dossier of that id."""
    session.user.must("read")
    return Dossier.from_events(session.store.events(dossier_id), who=session.user.name,
                               clock=session.clock)


def summaries(session: Session) -> list[Summary]:
    """All dossiers, last changed first."""
    session.user.must("read")
    return session.store.summaries()


def change_job(
    session: Session, dossier_id: str, job: JobSource, revision: int | None = None
) -> Dossier:
    """Change the job of a dossier that has no results yet."""
    session.user.must("enter")
    dossier = load(session, dossier_id)
    read = job if isinstance(job, EvaporationJob) else parse(job)
    if dossier.trials and any(t.state != "withdrawn" and t.origin != "today"
                              for t in dossier.trials):
        raise EntryError("This dossier already has trials, so its job is fixed.",
                         "Start a new version from it.")
    held = len(dossier.events)
    dossier.note_event("job changed", {"job": to_mapping(read)})
    _save(session, dossier, revision if revision is not None else held)
    return dossier


def propose(
    session: Session, dossier_id: str, n: int, progress: Progress | None = None
) -> tuple[Dossier, list[Trial]]:
    """Propose trials and save them as pending."""
    session.user.must("enter")
    dossier = load(session, dossier_id)
    held = len(dossier.events)
    with logs.timed("propose", dossier=dossier_id):
        trials = dossier.propose(n, progress)
    _save(session, dossier, held)
    return dossier, trials


def withdraw(session: Session, dossier_id: str, trial_id: str, reason: str = "") -> Dossier:
    """Take a pending trial back."""
    return _act(session, dossier_id, lambda d: d.withdraw(trial_id, reason))


def record(session: Session, dossier_id: str, trial_id: str | None = None,
           revision: int | None = None, **values: Any) -> Dossier:
    """Record one trial (see :meth:`experiments.dossier.Dossier.record`)."""
    return _act(session, dossier_id, lambda d: d.record(trial_id, **values), revision)


def correct(
    session: Session, dossier_id: str, trial_id: str, reason: str, **values: Any
) -> Dossier:
    """Correct a recorded result by a new row that says why."""
    return _act(session, dossier_id, lambda d: d.correct(trial_id, reason, **values))


def exclude(session: Session, dossier_id: str, trial_id: str, reason: str) -> Dossier:
    """Keep a result out of the fit, with a reason."""
    return _act(session, dossier_id, lambda d: d.exclude(trial_id, reason))


def include(session: Session, dossier_id: str, trial_id: str, reason: str) -> Dossier:
    """Let an excluded result count again."""
    return _act(session, dossier_id, lambda d: d.include(trial_id, reason))


def preview_table(session: Session, dossier_id: str, data: bytes | str) -> ReadTable:
    """What a table would record; nothing is saved."""
    dossier = load(session, dossier_id)
    table = read_table(data, dossier.job, dossier.trials)
    if not table.is_clean:
        return table
    rejected = _rejections(dossier, table.trials)
    return ReadTable(table.trials, rejected, table.notes) if rejected else table


def record_table(
    session: Session, dossier_id: str, data: bytes | str
) -> tuple[Dossier | None, ReadTable, list[str]]:
    """Record a whole table or nothing; gives the ids recorded."""
    session.user.must("enter")
    table = preview_table(session, dossier_id, data)
    if not table.is_clean:
        return None, table, []
    dossier = load(session, dossier_id)
    held = len(dossier.events)
    ids = [_record_one(dossier, trial) for trial in table.trials]
    _save(session, dossier, held)
    return dossier, table, ids


def recommend(
    session: Session, dossier_id: str, robust: bool = True, progress: Progress | None = None
) -> tuple[Dossier, Answer]:
    """Recommend, and note the recommendation in the record when it is new."""
    session.user.must("read")
    dossier = load(session, dossier_id)
    answer = dossier.recommend(robust, progress)
    if "enter" in session.user.roles and dossier.state in ("running", "recommended"):
        _note_answer(session, dossier, answer)
    return dossier, answer


def change_state(session: Session, dossier_id: str, to: str, reason: str = "") -> Dossier:
    """Move a dossier to another state; approving needs the role and another person."""
    session.user.must("approve" if to in ("approved", "retired") else "enter")
    dossier = load(session, dossier_id)
    if to not in MOVES[dossier.state]:
        allowed = ", ".join(MOVES[dossier.state]) or "none"
        raise EntryError(f"A dossier that is {dossier.state} cannot become {to}.",
                         f"Possible: {allowed}.")
    held = len(dossier.events)
    dossier.note_event("state changed", {"from": dossier.state, "to": to, "reason": reason})
    _save(session, dossier, held)
    return dossier


def new_version(session: Session, dossier_id: str, job: JobSource | None = None) -> Dossier:
    """Start the next version of a dossier; its recorded trials come along when the job allows."""
    session.user.must("enter")
    old = load(session, dossier_id)
    dossier = create_only(session, job if job is not None else old.job)
    dossier.note_event("job changed", {
        "job": to_mapping(dossier.job), "version": old.version + 1, "previous": old.id,
    })
    _save(session, dossier, 0)
    return dossier


def create_only(session: Session, job: JobSource) -> Dossier:
    """A dossier that is not saved yet."""
    return Dossier.start(job, who=session.user.name, clock=session.clock)


def audit(session: Session) -> dict[str, ChainCheck]:
    """Verify the chain of every dossier."""
    session.user.must("read")
    return {
        s.id: verify_chain(session.store.events(s.id)) for s in session.store.summaries()
    }


def append(session: Session, dossier: Dossier, held: int) -> int:
    """Save the events a use-case of another module added after ``held``."""
    session.user.must("enter")
    return _save(session, dossier, held)


# -- inside ----------------------------------------------------------------------------


def _act(session: Session, dossier_id: str, action: Callable[[Dossier], object],
         revision: int | None = None) -> Dossier:
    session.user.must("enter")
    dossier = load(session, dossier_id)
    held = len(dossier.events)
    action(dossier)
    _save(session, dossier, held if revision is None else revision)
    return dossier


def _save(session: Session, dossier: Dossier, held: int) -> int:
    new = dossier.events[held:]
    if not new:
        return held
    revision = session.store.append(dossier.id, new, held, summarise(dossier))
    logs.note("dossier saved", dossier=dossier.id, revision=revision)
    return revision


def summarise(dossier: Dossier) -> Summary:
    """The line of a dossier in the list."""
    job = dossier.job
    keeper = job.sample.keeper.name if job.sample.keeper else ""
    return Summary(
        id=dossier.id, title=job.title, state=dossier.state,
        trials=sum(t.state != "withdrawn" for t in dossier.trials),
        revision=len(dossier.events), updated=dossier.events[-1].at,
        facts={
            "solvents": [s.name for s in job.sample.solvents],
            "analytes": [a.name for a in job.analytes],
            "keeper": keeper, "equipment": job.equipment.name, "version": dossier.version,
        },
    )


def _record_one(dossier: Dossier, trial: UnderstoodTrial) -> str:
    return dossier.record(
        trial.trial, setting=trial.setting, run_time_min=trial.run_time_min,
        outcome=trial.outcome, recovery_percent=trial.recovery_percent, remark=trial.remark,
        day=trial.day,
    )


def _rejections(dossier: Dossier, trials: Sequence[UnderstoodTrial]) -> tuple[Any, ...]:
    """What the dossier itself would refuse, found on a copy."""
    from experiments.results_table import RejectedRow

    copy = Dossier.from_events(dossier.events, who=dossier.who)
    rejected = []
    for trial in trials:
        try:
            _record_one(copy, trial)
        except EntryError as error:
            rejected.append(RejectedRow(trial.rows[0], error.message, error.cure))
    return tuple(rejected)


def _note_answer(session: Session, dossier: Dossier, answer: Answer) -> None:
    held = len(dossier.events)
    payload = {
        "status": answer.status, "setting": answer.setting, "reason": answer.reason,
        "probability": answer.probability, "run_time_min": asdict(answer.run_time_min),
        "recovery_percent": {k: asdict(v) for k, v in answer.recovery_percent.items()},
        "trials": [t.id for t in dossier.recorded],
    }
    if dossier.details.recommendation == payload:
        return
    dossier.note_event("recommended", payload)
    becomes = "recommended" if answer.status == "recommended" else "running"
    if becomes != dossier.state:
        dossier.note_event("state changed", {"from": dossier.state, "to": becomes, "reason": ""})
    _save(session, dossier, held)
