"""The tour of an example: one stop a page, what to look at there, and where it goes on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Stop:
    """One page of the tour: its number, what to look at, and the page after it, if any."""

    number: int
    of: int
    text: str
    after: str | None


TEXTS = {
    "window": "One map holds the whole question: set temperature across, end pressure up. "
              "Shaded grounds are closed or at risk, dashes are run times. Click anywhere on it "
              "and the run at that setting is drawn below.",
    "trials": "Every proposed trial says why it is worth a batch of spiked samples and what it "
              "should show. Its bench sheet is printed or filled in here.",
    "results": "Type, paste or give the filled sheet: you see what was understood before anything "
               "counts. Later a correction is a further entry, never a deletion.",
    "learn": "Each dot is a run; above the line it met every target. Below it stands in plain "
             "words what the runs taught about this evaporator and these analytes.",
    "recommend": "The answer: the fastest setting that keeps every target with the probability "
                 "that was asked for, what it promises, and how far it may drift.",
    "verify": "Replicate runs must confirm the setting; what counts as a pass is written down "
              "before the first of them.",
    "report": "What a reviewer gets; every number leads back to a record. Here the tour ends. "
              "This dossier is a copy: change what you like, or write a job of your own.",
}
"""Stops in order, each with what to look at: about fifteen seconds a page."""


def stop_at(key: str) -> Stop | None:
    """The stop on a page; None where the tour does not stop."""
    keys = list(TEXTS)
    if key not in TEXTS:
        return None
    place = keys.index(key)
    after = keys[place + 1] if place + 1 < len(keys) else None
    return Stop(place + 1, len(keys), TEXTS[key], after)
