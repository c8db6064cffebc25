"""Mean recovery of a run where some readings are below their limit, one way for all parts.

A table gives the highest mean that such readings allow, marked "below"; a figure and the
leave-one-out residuals take half the limit. Verification alone counts them as zero.
"""

from __future__ import annotations

from dataclasses import dataclass

from experiments.report.digits import value
from experiments.trials import Result


@dataclass(frozen=True)
class Mean:
    """Mean of the readings of one analyte in one run, in percent.

    ``highest`` takes readings below a limit at that limit, ``middle`` at half of it.
    """

    highest: float
    middle: float
    count: int
    is_below: bool

    def words(self, decimals: int = 1) -> str:
        """The mean as a table shows it."""
        return ("<" if self.is_below else "") + value(self.highest, decimals)


def mean_recovery(result: Result, analyte: str) -> Mean | None:
    """The mean of an analyte; None when no vessel was measured."""
    held = [r for r in result.recovery.get(analyte, ()) if r is not None]
    if not held:
        return None
    lowest, highest = result.mean_span(analyte)
    return Mean(highest, 0.5 * (lowest + highest), len(held), any(r.censored for r in held))
