"""The limits of the window as lines under headings."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.window import Limit
from wizard.units import Units

HEADINGS = {"closed": "What closes the window", "risk": "What may go wrong",
            "fact": "What does not limit here"}


def limit_lines(limits: Sequence[Limit], units: Units) -> dict[str, list[str]]:
    """What closes the window first, then risks, then the rest."""
    found: dict[str, list[str]] = {}
    for kind, heading in HEADINGS.items():
        lines = [
            units.sentence(f"*{x.name}*: {x.where}. {x.reason}") for x in limits if x.kind == kind
        ]
        if lines:
            found[heading] = lines
    return found
