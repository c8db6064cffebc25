"""The history and the state of a dossier in words."""

from __future__ import annotations

from experiments.corrections import CORRECTING, corrections
from experiments.dossier import Dossier
from experiments.summaries import summarise
from experiments.wording import counted
from wizard.view_models.dossier_list import moment, state_words

STATE_ACTIONS = {
    "running": "go back to trials", "verified": "mark as verified", "approved": "approve",
    "retired": "retire",
}
WORDS = {
    "started": "started", "job changed": "job changed", "proposed": "trial proposed",
    "entered": "run entered", "withdrawn": "trial withdrawn", "recorded": "result recorded",
    "corrected": "result corrected", "excluded": "kept out of the fit",
    "included": "counts again", "recommended": "recommendation noted",
    "verification planned": "verification planned",
    "verification recorded": "verification run recorded",
    "verification corrected": "verification run corrected", "state changed": "state changed",
    "authorised": "authorised", "carried over": "knowledge carried over",
    "trace attached": "log attached", "trace removed": "log no longer counts", "note": "note",
}


def history_lines(dossier: Dossier) -> list[dict[str, str]]:
    """Every entry: when, who, what, about which trial, and why."""
    changed = corrections(dossier.events)
    return [
        {
            "when": moment(e.at), "who": e.who,
            "what": WORDS.get(e.kind, e.kind) + (
                f": {changed[int(e.payload['replaces'])]}" if e.kind in CORRECTING else ""),
            "trial": str(e.payload.get("trial", e.payload.get("run", ""))),
            "why": str(e.payload.get("reason", "")) if e.kind != "proposed" else "",
        }
        for e in reversed(dossier.events)
    ]


def state_sentence(dossier: Dossier) -> str:
    """Where the dossier stands."""
    return (
        f"Version {dossier.version}, {state_words(summarise(dossier))}; "
        f"{counted(len(dossier.recorded), 'run')} recorded, "
        f"last changed {moment(dossier.events[-1].at)} by {dossier.events[-1].who}."
    )
