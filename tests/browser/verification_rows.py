"""Runs of the second example that confirm it, as a spreadsheet holds them."""

from __future__ import annotations

VESSELS, ANALYTES = 24, ("QX-17", "methyl salicylate")


def verification_table(runs: int, days: int, run_time: str) -> str:
    """Replicate runs that all came back well, one row a vessel, with decimal commas."""
    lines = ["\t".join(["trial", "vessel", "run_time_min", "day",
                        *(f"recovery_percent:{name}" for name in ANALYTES)])]
    for n in range(runs):
        day = f"2026-03-{n % days + 1:02d}"
        lines += ["\t".join([f"V{n + 1}", str(v + 1), run_time, day,
                             *[f"{96 + (3 * n + 7 * v) % 5},5"] * len(ANALYTES)])
                  for v in range(VESSELS)]
    return "\n".join(lines)


def robustness_table(trials: list[str]) -> str:
    """Runs of a robustness study that all came back well, one row a trial."""
    head = "\t".join(["trial", "run_time_min", *(f"recovery_percent:{a}" for a in ANALYTES)])
    return "\n".join([head, *(f"{name}\t{18 + n % 3}\t{95 + n % 3}\t{90 + n % 4}"
                             for n, name in enumerate(trials))])
