"""The limits of the window, each with its name, under headings."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.window import Limit
from wizard.units import Units

HEADINGS = {"closed": "What closes the window", "risk": "What may go wrong",
            "fact": "What does not limit here"}


def limit_lines(limits: Sequence[Limit], units: Units) -> dict[str, list[tuple[str, str]]]:
    """Names and sentences: what closes the window first, then risks, then the rest."""
    found: dict[str, list[tuple[str, str]]] = {}
    for kind, heading in HEADINGS.items():
        lines = [
            (x.name, units.sentence(f"{x.where}. {x.reason}")) for x in limits if x.kind == kind
        ]
        if lines:
            found[heading] = lines
    return found
