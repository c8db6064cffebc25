"""Recovery from amounts: what was found against an unevaporated reference, blank taken off.

The reference is spiked like the samples but never evaporated; dividing by what was found in it
takes calibration and injection out, so that only the evaporation remains.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from experiments.entries import EntryError

BLANK_LIMIT_PERCENT = 30.0
"""A blank above this share of the spike makes the recoveries unusable (common practice)."""
REFERENCE_BAND = (80.0, 120.0)
"""Share of the spike the reference should show, percent (common practice)."""


@dataclass(frozen=True)
class SpikeRecovery:
    """Recoveries in percent by vessel, None where not measured, and what to know of them.

    ``label`` is "corrected" when a standard was added before the evaporation: it was lost
    alike, so such recoveries hide losses and are kept out of the fit.
    """

    percent: tuple[float | None, ...]
    reference_ug: float
    reference_rsd_percent: float | None
    blank_percent: float
    label: str
    remarks: tuple[str, ...]


def recoveries(
    found_ug: Sequence[float | None], reference_ug: Sequence[float], spiked_ug: float,
    blank_ug: float = 0.0, corrected: bool = False,
) -> SpikeRecovery:
    """Recovery of each vessel.

    Parameters
    ----------
    found_ug : amount found in each vessel, vessel order, None where not measured
    reference_ug : amounts found in the unevaporated references, at least one
    spiked_ug : amount added to each, above zero
    blank_ug : amount found in a blank that went through the same run
    corrected : whether amounts were corrected by a standard added before the evaporation

    Raises
    ------
    EntryError
        for impossible amounts, or a blank above 30 % of the spike
    """
    _check(found_ug, reference_ug, spiked_ug, blank_ug)
    share = 100.0 * blank_ug / spiked_ug
    if share > BLANK_LIMIT_PERCENT:
        raise EntryError(
            f"The blank holds {share:.0f} % of the spike, more than {BLANK_LIMIT_PERCENT:g} %.",
            "Find the contamination (boil-over, carry-over, solvent) and repeat the run.",
        )
    mean = sum(reference_ug) / len(reference_ug)
    return SpikeRecovery(
        percent=tuple(None if f is None else 100.0 * (f - blank_ug) / mean for f in found_ug),
        reference_ug=mean, reference_rsd_percent=_rsd(reference_ug, mean), blank_percent=share,
        label="corrected" if corrected else "",
        remarks=_remarks(found_ug, mean, spiked_ug, blank_ug, corrected),
    )


def _remarks(
    found_ug: Sequence[float | None], reference: float, spiked_ug: float, blank_ug: float,
    corrected: bool,
) -> tuple[str, ...]:
    remarks = []
    of_spike = 100.0 * reference / spiked_ug
    low, high = REFERENCE_BAND
    if not low <= of_spike <= high:
        remarks.append(
            f"The reference shows {of_spike:.0f} % of the spike; check spike and calibration."
        )
    below = [i + 1 for i, f in enumerate(found_ug) if f is not None and f < blank_ug]
    if below:
        remarks.append(f"Less than in the blank: vessel {', '.join(map(str, below))}.")
    if corrected:
        remarks.append(
            "Corrected by a standard that was evaporated too: losses are hidden, not learnt from."
        )
    return tuple(remarks)


def _rsd(values: Sequence[float], mean: float) -> float | None:
    if len(values) < 2:
        return None
    variance = sum((v - mean) ** 2 for v in values) / (len(values) - 1)
    return 100.0 * math.sqrt(variance) / mean


def _check(
    found_ug: Sequence[float | None], reference_ug: Sequence[float], spiked_ug: float,
    blank_ug: float,
) -> None:
    amounts = [*(f for f in found_ug if f is not None), *reference_ug, spiked_ug, blank_ug]
    if not all(math.isfinite(a) and a >= 0.0 for a in amounts):
        raise EntryError("An amount is negative or not a number.",
                         "Give micrograms from zero up; leave empty what was not measured.")
    if not spiked_ug > 0.0:
        raise EntryError("The amount spiked is zero.", "Give the micrograms added.")
    if not reference_ug or not sum(reference_ug) > 0.0:
        raise EntryError("Nothing was found in an unevaporated reference.",
                         "Measure at least one spiked reference that was not evaporated.")
