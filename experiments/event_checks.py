"""Events from elsewhere: a chain that holds may still hold nonsense; this refuses it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from experiments.dossier_state import (
    FROZEN,
    MOVES,
    DossierState,
    apply,
    read_result,
    result_payload,
)
from experiments.entries import EntryError, check_result, check_setting, checked_text
from experiments.events import KINDS, Event, verify_chain
from experiments.job_fields import NOT_TEXT
from experiments.trials import Result
from experiments.users import Role

ID = re.compile(r"[A-Za-z0-9_-]{1,64}")


def check_events(events: Sequence[Event]) -> str:
    """The id of the dossier that these events make, when every one of them makes sense.

    Raises
    ------
    EntryError
        naming the first event that does not
    """
    if not events or not verify_chain(events).holds:
        raise EntryError("The history does not hold together.",
                         "Export it again; this copy is damaged or was changed.")
    name = str(events[0].payload.get("id", ""))
    if events[0].kind != "started" or not ID.fullmatch(name):
        raise EntryError("The history does not begin with a dossier.", "Export it again.")
    state = DossierState()
    for event in events:
        try:
            _check_event(state, event)
            state = apply(state, event)
        except (EntryError, ValueError, TypeError, KeyError, AttributeError, IndexError) as error:
            raise EntryError(f"Event {event.seq} ({event.kind[:40]!r}) makes no sense.",
                             "Export it again; this copy was changed.") from error
    return name


def role_for(event: Event) -> Role:
    """The role of who may cause an event."""
    approves = event.kind == "authorised" or (
        event.kind == "state changed" and event.payload["to"] in FROZEN)
    return "approve" if approves else "enter"


def _check_event(state: DossierState, event: Event) -> None:
    if event.kind not in KINDS or (event.kind == "started") != (event.seq == 1):
        raise EntryError("The kind is not known here.", "Use a newer Boilwright.")
    if len(event.who) > 200 or len(event.at) > 40 or NOT_TEXT.search(event.who + event.at):
        raise EntryError("Who or when is no plain text.", "")
    payload = event.payload
    if state.state in FROZEN and event.kind not in ("state changed", "note"):
        raise EntryError("A closed dossier accepts no change.", "")
    if event.kind == "state changed" and payload["to"] not in MOVES[state.state]:
        raise EntryError("The move from state to state is not allowed.", "")
    if event.kind == "started":
        _check_version(payload)
    elif event.kind in ("proposed", "entered"):
        _same_setting(state, payload["setting"])
        if payload["trial"] != f"T{len(state.trials) + 1}":
            raise EntryError("The trial is out of order.", "")
        if "run_of" in payload and payload["run_of"]["run"] not in {
                v.get("run") for v in state.verification}:
            raise EntryError("The trial is a verification run that there is none of.", "")
    elif event.kind in ("recorded", "corrected"):
        _same_result(state, payload["result"])
    elif event.kind == "recommended":
        _check_recommendation(state, payload)
    else:
        _check_evidence(state, event)


def _check_version(payload: Mapping[str, Any]) -> None:
    """What a first event tells of an earlier version."""
    changes = [(c["path"], c["before"], c["after"]) for c in payload.get("changes", ())]
    texts = [*(path for path, _, _ in changes), *payload.get("results_by", ())]
    if not all(isinstance(text, str) for text in texts):
        raise EntryError("It is not said what changed, or who entered the results.", "")


def _check_evidence(state: DossierState, event: Event) -> None:
    """Runs of a verification, and logs of instruments."""
    payload = event.payload
    if event.kind in ("verification recorded", "verification corrected"):
        _same_setting(state, payload["setting"])
        _same_result(state, payload["result"])
    elif event.kind == "verification planned":
        from experiments.verification_plan import read_plan  # loads the learning layer

        _same_setting(state, read_plan(payload).setting)
    elif event.kind == "trace attached":
        from experiments.attached_log import check_log  # loads the physics

        check_log(payload)
        if payload["trial"] not in state.trials:
            raise EntryError("The log belongs to no trial.", "")
    elif event.kind == "trace removed" and payload["trial"] not in state.traces:
        raise EntryError("There is no log to remove.", "")


def _same_setting(state: DossierState, setting: Mapping[str, Any]) -> None:
    job = state.job
    if job is None or check_setting(job, setting, is_new=False) != dict(setting):
        raise EntryError("The setting is not one of the job.", "")


def _same_result(state: DossierState, data: Mapping[str, Any]) -> None:
    if state.job is None:
        raise EntryError("There is no job.", "")
    read = read_result(data)
    again = check_result(state.job, read.run_time_min, read.outcome, _given(read), read.remark,
                         corrected=read.corrected)
    day = checked_text(read.day, "The day")  # once kept as it was written
    if result_payload(replace(again, day=day)) != dict(data):
        raise EntryError("The result is not one of the job.", "")


def _check_recommendation(state: DossierState, payload: Mapping[str, Any]) -> None:
    if payload["setting"] is not None:
        _same_setting(state, payload["setting"])
    intervals = [payload["run_time_min"], *payload["recovery_percent"].values()]
    numbers = [payload["probability"], *(i[k] for i in intervals for k in ("mean", "low", "high"))]
    if not all(isinstance(n, float | int) for n in numbers):
        raise EntryError("The recommendation holds no numbers.", "")
    texts = [payload["status"], payload["reason"], *payload["trials"]]
    if not all(isinstance(t, str) for t in texts):
        raise EntryError("The recommendation holds no text.", "")


def _given(result: Result) -> dict[str, Any]:
    """Recoveries the way an analyst gives them."""
    return {
        name: (values[0] if result.is_mean[name] else values)
        for name, values in (
            (n, [None if r is None else f"<{r.percent!r}" if r.censored else r.percent
                 for r in readings])
            for n, readings in result.recovery.items()
        )
    }
