"""Where a number stands in the record: the events of a dossier by trial and in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from experiments.dossier import Dossier
from experiments.events import Event
from experiments.report.digits import setting_words


def result_records(dossier: Dossier) -> dict[str, tuple[int, ...]]:
    """For each trial the events that hold its result, corrections last."""
    found: dict[str, tuple[int, ...]] = {}
    for event in dossier.events:
        if event.kind in ("recorded", "corrected"):
            trial = str(event.payload["trial"])
            before = () if event.kind == "corrected" else found.get(trial, ())
            found[trial] = (*before, event.seq)
    return found


def record_by_trial(dossier: Dossier, *kinds: str) -> dict[str, int]:
    """For each trial that has one, the last event of these kinds."""
    return {str(e.payload["trial"]): e.seq for e in dossier.events if e.kind in kinds}


_WORDS = {
    "started": "Dossier started (version {version})",
    "job changed": "Job changed before any trial",
    "proposed": "Trial {trial} proposed: {setting}",
    "entered": "Trial {trial} entered: {setting}",
    "withdrawn": "Trial {trial} withdrawn{because}",
    "recorded": "Result of {trial} recorded: {outcome}",
    "corrected": "Result of {trial} corrected, replaces record {replaces}{because}",
    "excluded": "Result of {trial} kept out of the fit{because}",
    "included": "Result of {trial} counts again{because}",
    "recommended": "Recommendation: {status}",
    "verification planned": "Verification planned: {runs} runs on {days} days",
    "verification recorded": "Verification run {run} recorded: {outcome}",
    "verification corrected": "Verification run {run} corrected, replaces record {replaces}"
                              "{because}",
    "state changed": "State became {to}{because}",
    "authorised": "Authorised by {by}{because}",
    "trace attached": "Log of the instruments attached to {trial}",
    "trace removed": "Log of {trial} no longer counts{because}",
    "carried over": "Knowledge carried over from dossier {source}",
}


def event_words(dossier: Dossier, event: Event) -> str:
    """What happened, in one line."""
    p: Mapping[str, Any] = event.payload
    words = {
        key: str(p.get(key, ""))
        for key in ("trial", "replaces", "status", "run", "to", "by")
    } | {"source": str((p.get("source") or {}).get("id", ""))}
    criteria = p.get("criteria") or {}
    text = _WORDS.get(event.kind, event.kind.capitalize())
    return text.format(
        **words, version=p.get("version", 1), because=_because(p),
        outcome=(p.get("result") or {}).get("outcome", ""),
        runs=criteria.get("runs", ""), days=criteria.get("days", ""),
        setting=setting_words(dossier.job, p["setting"])
        if event.kind in ("proposed", "entered") else "",
    )


def _because(payload: Mapping[str, Any]) -> str:
    reason = str(payload.get("reason", "")).strip()
    return f" ({reason})" if reason else ""
