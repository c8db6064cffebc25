"""Section on the robustness study: what was moved, what it did, whether targets hold."""

from __future__ import annotations

from experiments.report.digits import factor_name, setting_words, value
from experiments.report.document import (
    Block,
    Bullets,
    Column,
    Notice,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.robustness import Effect, Robustness, analyse_robustness
from experiments.wording import capital, signed


def robustness(g: Gathered) -> Section | None:
    """None while no robustness study is complete."""
    found = analyse_robustness(g.dossier)
    if found is None:
        return None
    title = "Every target holds at the worst corner" if found.holds else (
        "Not every target is shown to hold at the worst corner")
    lines = [*found.failed_runs, *(c.sentence for c in found.corners), *found.untold]
    blocks: list[Block] = [
        Paragraph(
            f"Around {setting_words(g.dossier.job, found.setting)} the factors were moved "
            "together by twice what the equipment holds, in the runs "
            f"{', '.join(found.trials)} of a small factorial that was planned beforehand. "
            "Effects are differences between the high and the low level, by least squares with "
            "the usual scatter of a run."),
        Notice("answer" if found.holds else "caution", title,
               "Worked out from these runs alone, without the run model."),
        Bullets(tuple(f"{capital(line).rstrip('.')}." for line in lines)),
        *([_effects(found)] if found.effects else []),
    ]
    return Section("robustness", "Robustness", tuple(blocks))


def _effects(found: Robustness) -> Table:
    return Table(
        "Effects with 95 % interval",
        (Column("response", weight=2), Column("factor", weight=2), Column("from", "right"),
         Column("to", "right"), Column("effect", "right", 2), Column("forecast", "right"),
         Column("unit")),
        rows_of([_row(e) for e in found.effects]), size="small",
        note="An effect whose interval holds zero does not show; it may still be there.",
    )


def _row(e: Effect) -> list[str]:
    low, high = e.interval
    return [e.response, factor_name(e.factor), value(e.low), value(e.high),
            f"{signed(e.estimate)} ({signed(low)} to {signed(high)})", signed(e.forecast),
            "% of run time" if e.response == "run time" else "points"]
