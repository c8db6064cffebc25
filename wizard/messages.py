"""What went wrong, in a sentence with a cure; nothing else of an error reaches the screen."""

from __future__ import annotations

from experiments.faults import fault_sentences


def sentences(error: Exception) -> list[str]:
    """What to show for an error, one entry a fault."""
    return fault_sentences(error) or [
        "Something went wrong inside the program, and nothing was saved. "
        "Try again; if it happens twice, report it with what you did."
    ]
