"""The dossier: one job with its trials, kept as a fold over append-only events.

No store, no disk: the same object serves a script, the command line and the wizard.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from experiments.answers import Answer, Forecast
from experiments.carry_over import carry_over_payload, must_still_hold
from experiments.corrections import Amendment, amended
from experiments.dossier_state import FROZEN, MOVES, DossierState, apply, result_payload
from experiments.entries import (
    EntryError,
    check_result,
    check_setting,
    check_settings,
    checked_count,
    checked_flag,
    checked_level,
    checked_reason,
    checked_text,
    merge,
    time_and_outcome,
)
from experiments.events import Event, last_of, link
from experiments.job import EvaporationJob, Setting
from experiments.job_fields import shown
from experiments.job_file import parse
from experiments.job_text import assumed_values, to_mapping
from experiments.progress import Progress
from experiments.trials import Result, Trial

if TYPE_CHECKING:
    from experiments.fitted import Fitted

DossierError = EntryError


def utc_now() -> str:
    """The time in UTC, ISO 8601 with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Dossier:
    """One job, its trials and everything that happened to it.

    Build with :meth:`start` or :meth:`from_events`. Every method that changes something
    appends an event; an error changes nothing.
    """

    def __init__(self, dossier_id: str, *, who: str = "analyst",
                 clock: Callable[[], str] = utc_now) -> None:
        self.id = dossier_id
        self.who = who
        self._clock = clock
        self._events: list[Event] = []
        self._state = DossierState()
        self.stop_reason: str | None = None

    @classmethod
    def start(cls, job: str | Path | Mapping[str, Any] | EvaporationJob, *, who: str = "analyst",
              clock: Callable[[], str] = utc_now, dossier_id: str | None = None,
              origin: Mapping[str, Any] | None = None,
              earlier: Dossier | None = None) -> Dossier:
        """A new dossier for a job (file, text, mapping or record).

        ``origin`` tells of an earlier version: ``version``, ``previous`` and what changed.
        ``earlier`` is a dossier of the same evaporator or analytes; what its results taught is
        taken over into the record of the new one, as it is now.

        Raises
        ------
        JobError
            listing every fault of the job
        EntryError
            when nothing can be taken over from ``earlier``
        """
        read = job if isinstance(job, EvaporationJob) else parse(job)
        dossier = cls(dossier_id or uuid.uuid4().hex[:12], who=who, clock=clock)
        dossier._append("started", {
            **(origin or {}),
            "id": dossier.id, "job": to_mapping(read), "assumed": assumed_values(read),
        })
        if earlier is not None:
            from experiments.carrying import carry_over

            dossier._append("carried over", carry_over_payload(carry_over(earlier, read)))
        if read.today is not None:
            dossier._enter(read.today, "today", "The method in use today.")
        return dossier

    @classmethod
    def from_events(cls, events: Iterable[Event], *, who: str = "analyst",
                    clock: Callable[[], str] = utc_now) -> Dossier:
        """The dossier that these events, in order, describe."""
        events = list(events)
        if not events or "id" not in events[0].payload:
            raise DossierError("These events are not those of a dossier.",
                               "Give all events from the first on.")
        return cls(str(events[0].payload["id"]), who=who, clock=clock).continued(events)

    def continued(self, newer: Iterable[Event] = ()) -> Dossier:
        """A copy with further events after the last; this one stays as it is."""
        made = Dossier(self.id, who=self.who, clock=self._clock)
        made._events, made._state = list(self._events), self._state
        for event in newer:
            made._state = apply(made._state, event)
            made._events.append(event)
        return made

    def __copy__(self) -> Dossier:
        made = self.continued()
        made.stop_reason = self.stop_reason
        return made

    # -- what it holds ---------------------------------------------------------------

    @property
    def job(self) -> EvaporationJob:
        if self._state.job is None:
            raise DossierError("This dossier has no job.", "Start it from a job file.")
        return self._state.job

    @property
    def state(self) -> str:
        return self._state.state

    @property
    def version(self) -> int:
        return self._state.version

    @property
    def details(self) -> DossierState:
        """Everything folded from the events (verification entries, reasons, versions)."""
        return self._state

    @property
    def events(self) -> tuple[Event, ...]:
        return tuple(self._events)

    @property
    def trials(self) -> tuple[Trial, ...]:
        """All trials in order of creation; a change of their settings changes nothing here."""
        return tuple(t.apart() for t in self._state.trials.values())

    @property
    def pending(self) -> tuple[Trial, ...]:
        return tuple(t for t in self.trials if t.state == "pending")

    @property
    def recorded(self) -> tuple[Trial, ...]:
        return tuple(t for t in self.trials if t.state == "recorded")

    def trial(self, trial_id: str) -> Trial:
        """The trial of that id; DossierError when there is none."""
        try:
            return self._state.trials[trial_id].apart()
        except (KeyError, TypeError):
            known = ", ".join(self._state.trials) or "none yet"
            raise DossierError(f"There is no trial {shown(trial_id)}.",
                               f"Trials: {known}.") from None

    # -- trials ----------------------------------------------------------------------

    def propose(self, n: int = 3, progress: Progress | None = None) -> list[Trial]:
        """At most ``n`` trials worth running beyond those pending; they become pending.

        Empty when nothing more is worth running; ``stop_reason`` then says why.
        """
        count = checked_count(n)
        self._must_be_open()
        from experiments.sequential import propose

        proposal = propose(self.fitted(progress), count, self.pending, progress=progress)
        self.stop_reason = proposal.stop_reason
        ids = []
        for trial in proposal.trials:
            ids.append(self._next_id())
            self._append("proposed", {
                "trial": ids[-1], "setting": trial.setting, "reason": trial.reason,
                "run_time_min": trial.run_time_min, "recovery_percent": trial.recovery_percent,
            })
        return [self.trial(i) for i in ids]

    def enter_pending(
        self, setting: Setting, origin: str, reason: str, forecast: Forecast | None = None
    ) -> str:
        """Enter a run of a checked setting, with its forecast; it stays pending. Gives its id."""
        self._must_be_open()
        promise = {} if forecast is None else forecast.promise
        return self._enter(setting, origin, reason, promise)

    def learn_from_verification(self) -> list[str]:
        """Take the runs of a failed verification over as trials; gives the trials' ids."""
        from experiments.verification_trials import take_over

        return take_over(self)

    def withdraw(self, trial_id: str, reason: str = "") -> None:
        """Take a pending trial back."""
        self._must_be_open()
        if self.trial(trial_id).state != "pending":
            raise DossierError(f"Trial {trial_id} is not pending.",
                               "Exclude it with a reason if its result must not count.")
        text = checked_text(reason, "The reason")
        self._append("withdrawn", {"trial": trial_id, "reason": text})

    def record(  # noqa: PLR0913 - the fields of a result
        self,
        trial_id: str | None = None,
        *,
        setting: Mapping[str, Any] | None = None,
        run_time_min: float | None = None,
        outcome: str | None = None,
        recovery_percent: Mapping[str, Any] | None = None,
        remark: str = "",
        day: str = "",
        corrected: bool = False,
    ) -> str:
        """Record what a run gave; returns the trial's id.

        Parameters
        ----------
        trial_id : a trial of this dossier, or None with ``setting`` for one nobody proposed
        setting : all free factors, inside the bounds or not
        run_time_min : None only for runs that did not finish
        outcome : "finished" (default), "not dry", "boil-over" or "aborted"
        recovery_percent : per analyte a list in vessel order (None not measured, "<5"
            censored) or one number, the mean over all vessels
        corrected : recoveries against a standard added before evaporation; kept, but
            not learnt from
        """
        self._must_be_open()
        held = self.trial(trial_id).result if trial_id is not None else None
        result = check_result(
            self.job, *time_and_outcome(held, run_time_min, outcome),
            {} if recovery_percent is None else recovery_percent, remark, day, corrected,
        )
        if trial_id is None:
            if setting is None:
                raise DossierError("Neither a trial nor a setting was given.",
                                   "Give the trial's id, or the setting that was run.")
            checked = check_setting(self.job, setting)
            trial_id = self._enter(checked, "entered", "Run at the bench without a proposal.")
        else:
            trial = self.trial(trial_id)
            if setting is not None and check_setting(self.job, setting) != trial.setting:
                raise DossierError(f"Trial {trial_id} has another setting.",
                                   "Record without an id to enter a run of your own.")
            if trial.state == "withdrawn":
                raise DossierError(f"Trial {trial_id} was withdrawn.",
                                   "Record its setting as a new trial.")
            if held is not None:
                result = merge(held, result)
        self._append("recorded", {"trial": trial_id, "result": result_payload(result)})
        return trial_id

    def correct(self, trial_id: str, reason: str, **values: Unpack[Amendment]) -> None:
        """Replace a recorded result by a new row that points at the old one and says why.

        What is not given stays; an analyte given as None loses its readings.
        """
        self._must_be_open()
        old, entry = self._recorded(trial_id)
        result = amended(self.job, old, values)
        self._append("corrected", {
            "trial": trial_id, "result": result_payload(result),
            "reason": checked_reason(reason), "replaces": entry,
        })

    def exclude(self, trial_id: str, reason: str) -> None:
        """Keep a result out of the fit, with a reason; it stays in the record."""
        self._must_be_open()
        self._recorded(trial_id)
        if self.trial(trial_id).state == "excluded":
            raise DossierError(f"Trial {trial_id} is excluded already.", "Nothing to do.")
        self._append("excluded", {"trial": trial_id, "reason": checked_reason(reason)})

    def include(self, trial_id: str, reason: str) -> None:
        """Let an excluded result count again."""
        self._must_be_open()
        if self.trial(trial_id).state != "excluded":
            raise DossierError(f"Trial {trial_id} is not excluded.", "Nothing to undo.")
        self._append("included", {"trial": trial_id, "reason": checked_reason(reason)})

    # -- job and state ---------------------------------------------------------------

    def change_job(self, job: EvaporationJob) -> None:
        """Put another job in place of this one, while there is no trial but today's.

        Today's method of the new job takes the place of the old one.
        """
        self._must_be_open()
        if any(t.state != "withdrawn" and (t.origin != "today" or t.result or t.log)
               for t in self.trials):
            raise DossierError("This dossier already has trials, so its job is fixed.",
                               "Start a new version of it.")
        must_still_hold(self.details.carried, self.job, job)
        with self._whole_or_not_at_all():
            self._append("job changed", {"job": to_mapping(job), "assumed": assumed_values(job)})
            for trial in self.pending:  # left only beside trials withdrawn before
                self._append("withdrawn", {"trial": trial.id, "reason": "The job changed."})
            if job.today is not None:
                self._enter(job.today, "today", "The method in use today.")

    def move_to(self, state: str, reason: str = "") -> None:
        """Go to another state; DossierError when that move is not allowed."""
        if not isinstance(state, str) or state not in MOVES[self.state]:
            allowed = ", ".join(MOVES[self.state]) or "none, it is final"
            raise DossierError(f"A dossier that is {self.state} cannot become {shown(state)}.",
                               f"Possible: {allowed}.")
        self._append("state changed", {
            "from": self.state, "to": state, "reason": checked_text(reason, "The reason"),
        })

    def record_all(self, results: Iterable[Mapping[str, Any]]) -> list[str]:
        """Record several results (keywords of :meth:`record`), all or none of them."""
        with self._whole_or_not_at_all():
            return [self.record(**values) for values in results]

    # -- answers ---------------------------------------------------------------------

    def fitted(self, progress: Progress | None = None) -> Fitted:
        """The job with what its recorded trials taught."""
        from experiments.fitted import fit

        return fit(self.job, self.trials, carried=self.details.carried, progress=progress)

    def recommend(self, robust: bool = True, progress: Progress | None = None) -> Answer:
        """The fastest setting at the asked assurance, or why there is none."""
        from experiments.recommendation import recommend

        return recommend(self.fitted(progress), checked_flag("robust", robust))

    def forecast(
        self, settings: Sequence[Mapping[str, Any]], level: float = 0.95, new_run: bool = False
    ) -> list[Forecast]:
        """Forecasts for any settings, also before any trial."""
        share, flag = checked_level(level), checked_flag("new_run", new_run)
        return self.fitted().forecast(check_settings(self.job, settings), share, flag)

    # -- events ----------------------------------------------------------------------

    def note_event(self, kind: str, payload: Mapping[str, Any]) -> None:
        """Append an event of another use-case (verification, trace, note)."""
        if kind != "note":
            self._must_be_open()
        self._append(kind, payload)

    @contextmanager
    def _whole_or_not_at_all(self) -> Iterator[None]:
        before, state = list(self._events), self._state
        try:
            yield
        except BaseException:
            self._events, self._state = before, state
            raise

    def _append(self, kind: str, payload: Mapping[str, Any]) -> None:
        last = self._events[-1] if self._events else None
        event = link(last, self._clock(), self.who, kind, payload)
        self._state = apply(self._state, event)
        self._events.append(event)

    def _enter(
        self, setting: Setting, origin: str, reason: str, forecast: Mapping[str, Any] | None = None
    ) -> str:
        trial_id = self._next_id()
        self._append("entered", {
            "trial": trial_id, "setting": dict(setting), "reason": reason, "origin": origin,
            **(forecast or {}),
        })
        return trial_id

    def _next_id(self) -> str:
        return f"T{len(self._state.trials) + 1}"

    def _recorded(self, trial_id: str) -> tuple[Result, int]:
        """The result of a trial, and the number of the entry that holds it."""
        result = self.trial(trial_id).result
        entry = last_of(self._events, "recorded", "corrected", trial=trial_id)
        if result is None or entry is None:
            raise DossierError(f"Trial {trial_id} has no result yet.", "Record it first.")
        return result, entry.seq

    def _must_be_open(self) -> None:
        if self.state in FROZEN:
            raise DossierError(f"This dossier is {self.state} and cannot be changed.",
                               "Start a new version of it.")
