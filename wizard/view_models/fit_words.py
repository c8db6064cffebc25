"""How well the forecasts fit the bench, in words and rows."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.diagnostics import ODD_BEYOND, Reading
from wizard.charts.fit_quality import FitRow

INSIDE = 1.96


def fit_rows(readings: Sequence[Reading]) -> list[FitRow]:
    """Recoveries against the forecast from the other runs."""
    return [
        FitRow(r.trial, r.quantity, r.predicted, max(r.predicted - INSIDE * r.sd, 0.0),
               r.predicted + INSIDE * r.sd, r.observed)
        for r in readings if r.quantity != "run time"
    ]


def fit_sentence(readings: Sequence[Reading]) -> str:
    """How many readings fell where the other runs said they would."""
    if len(readings) < 3:
        return "There are too few readings to tell how well the forecasts fit."
    inside = sum(abs(r.standard) <= INSIDE for r in readings)
    odd = [r for r in readings if abs(r.standard) >= ODD_BEYOND]
    text = (
        f"{inside} of {len(readings)} readings lie where all other runs together would have put "
        "them with 95 % probability."
    )
    if odd:
        worst = max(odd, key=lambda r: abs(r.standard))
        text += f" The oddest is {worst.quantity} of {worst.trial}."
    return text
