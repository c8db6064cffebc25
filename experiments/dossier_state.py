"""What a dossier holds, folded from its events; the rules of its states.

Every change of the results takes a dossier back to "running": what was recommended or
verified on other results no longer holds. Approved and retired dossiers accept no change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from experiments.carry_over import CarryOver, read_carry_over
from experiments.events import Event
from experiments.job import EvaporationJob
from experiments.job_text import read_back
from experiments.trials import LogReading, Moment, Recovery, Result, RunOfPlan, Trial

STATES = ("draft", "running", "recommended", "verified", "approved", "retired")
MOVES: dict[str, tuple[str, ...]] = {
    "draft": ("running", "retired"),
    "running": ("recommended", "retired"),
    "recommended": ("running", "verified", "retired"),
    "verified": ("approved", "running", "retired"),
    "approved": ("retired",),
    "retired": (),
}
"""Moves that may be asked for; an approved method changes only by a new version."""
FROZEN = ("approved", "retired")


@dataclass(frozen=True)
class DossierState:
    """The fold of all events so far; ``trials`` keeps order of creation."""

    job: EvaporationJob | None = None
    trials: Mapping[str, Trial] = field(default_factory=dict)
    state: str = "draft"
    version: int = 1
    previous: str | None = None
    changes: tuple[Mapping[str, Any], ...] = ()  # corrections, exclusions, withdrawals
    moves: tuple[Mapping[str, Any], ...] = ()  # from state to state: who, when, why
    verification: tuple[Mapping[str, Any], ...] = ()
    recommendation: Mapping[str, Any] | None = None
    traces: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    carried: CarryOver | None = None
    authorised: tuple[str, ...] = ()  # codes of the cautions that a named person accepted


def apply(state: DossierState, event: Event) -> DossierState:
    """The state after one more event."""
    p = event.payload
    match event.kind:
        case "started" | "job changed":
            untouched = all(t.origin == "today" and t.state == "pending" and t.log is None
                            for t in state.trials.values())
            return replace(
                state, job=read_back(p["job"], p.get("assumed")),
                trials={} if untouched else state.trials, authorised=(),
                version=p.get("version", state.version),
                previous=p.get("previous", state.previous),
            )
        case "proposed" | "entered":
            trial = Trial(
                id=p["trial"], setting=dict(p["setting"]), reason=p.get("reason", ""),
                origin=p.get("origin", "proposed"),
                run_time_min=dict(p.get("run_time_min", {})),
                recovery_percent={k: dict(v) for k, v in p.get("recovery_percent", {}).items()},
                run_of=RunOfPlan(**p["run_of"]) if "run_of" in p else None,
            )
            moved = "running" if event.kind == "proposed" else state.state
            return _with_trial(state, trial, state=moved)
        case "withdrawn":
            return _with_trial(state, replace(state.trials[p["trial"]], state="withdrawn"), event)
        case "recorded" | "corrected" | "excluded" | "included":
            return _with_result(state, event)
        case "recommended":
            return replace(state, recommendation=p)
        case "verification planned" | "verification recorded" | "verification corrected":
            entry = {**p, "kind": event.kind, "at": event.at, "who": event.who}
            return replace(state, verification=(*state.verification, entry))
        case "state changed":
            entry = {**p, "at": event.at, "who": event.who}
            return replace(state, state=p["to"], moves=(*state.moves, entry))
        case "authorised":
            entry = {**p, "kind": event.kind, "at": event.at, "who": event.who}
            return replace(state, authorised=(*state.authorised, *p["codes"]),
                           changes=(*state.changes, entry))
        case "carried over":
            return replace(state, carried=read_carry_over(p))
        case "trace attached" | "trace removed":
            return _with_trace(state, event)
        case _:
            return state


def _with_result(state: DossierState, event: Event) -> DossierState:
    """A result recorded, corrected, kept out of the fit, or let in again."""
    trial = state.trials[event.payload["trial"]]
    held = event.payload.get("result")
    made = replace(
        trial, result=trial.result if held is None else read_result(held),
        state="excluded" if event.kind == "excluded" else
        "recorded" if event.kind == "included" or trial.state == "pending" else trial.state)
    return _with_trial(state, made, None if event.kind == "recorded" else event, state="running")


def _with_trace(state: DossierState, event: Event) -> DossierState:
    """The log of a run attached, in place of an earlier one of the trial, or removed."""
    name = event.payload["trial"]
    traces = {k: v for k, v in state.traces.items() if k != name}
    is_new = event.kind == "trace attached"
    log = read_log_reading(event.payload) if is_new else None
    trial = replace(state.trials[name], log=log)
    held = {**traces, name: event.payload} if is_new else traces
    moved = state.state if state.state == "draft" else "running"
    return _with_trial(state, trial, None if is_new else event, traces=held, state=moved)


def _with_trial(
    before: DossierState, trial: Trial, event: Event | None = None, **other: Any
) -> DossierState:
    """The state with that trial, an event noted that changed it, and other fields set."""
    changes = before.changes
    if event is not None:
        changes = (*changes, {**event.payload, "kind": event.kind, "at": event.at,
                              "who": event.who})
    return replace(before, trials={**before.trials, trial.id: trial}, changes=changes, **other)


def result_payload(result: Result) -> dict[str, Any]:
    """A result as JSON data."""
    return {
        "run_time_min": result.run_time_min,
        "outcome": result.outcome,
        "recovery": {
            name: [None if r is None else {"percent": r.percent, "censored": r.censored}
                   for r in readings]
            for name, readings in result.recovery.items()
        },
        "is_mean": dict(result.is_mean),
        "remark": result.remark,
        "day": result.day,
        "corrected": result.corrected,
    }


def read_result(data: Mapping[str, Any]) -> Result:
    """A result from JSON data."""
    return Result(
        run_time_min=data["run_time_min"],
        outcome=data["outcome"],
        recovery={
            name: tuple(None if r is None else Recovery(r["percent"], r["censored"])
                        for r in readings)
            for name, readings in data["recovery"].items()
        },
        is_mean=dict(data["is_mean"]),
        remark=data["remark"],
        day=data["day"],
        corrected=data["corrected"],
    )


def read_log_reading(payload: Mapping[str, Any]) -> LogReading:
    """What the fit takes from the log of a run's instruments."""
    told = payload["moments"]
    return LogReading(*(_moment(told[name]) for name in ("boiling", "half", "most", "run_time")))


def _moment(data: Mapping[str, Any]) -> Moment | None:
    if data["min"] is None:
        return None
    return Moment(float(data["min"]), float(data["low"]), float(data["high"]))
