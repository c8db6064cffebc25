"""Recoveries of a bench table worked out from amounts: found, blank and reference, in µg.

``found_ug:<analyte>`` columns stand beside or in place of ``recovery_percent:<analyte>``. A row
whose vessel is ``reference`` holds what an unevaporated spike showed at final volume, one whose
vessel is ``blank`` (or whose remark is ``blank``) what a blank showed that went through the run.
References without a trial count for every trial of the table, those with a day for that day.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.entries import EntryError
from experiments.job import Analyte
from experiments.reference_spike import recoveries

FOUND_PREFIX = "found_ug:"
SPIKED_PREFIX = "spiked_ug:"
AMOUNT_PREFIXES = (FOUND_PREFIX, SPIKED_PREFIX)
CORRECTED = {"": False, "no": False, "yes": True}
"""Words of the column ``corrected``: whether a standard was added before the evaporation."""
CONTROL = re.compile(r"(reference|blank)( [1-9]\d?)?")
DIGITS = 2
"""Decimals of a recovery in percent that was worked out."""

Amount = float | str | None
"""Micrograms, "<0.2" for below that, None for not measured."""


@dataclass(frozen=True)
class Amounts:
    """What was found of one analyte in one trial."""

    analyte: Analyte
    found: Mapping[int, Amount]
    references: Sequence[float]
    blank: float
    spiked: float
    is_corrected: bool


@dataclass(frozen=True)
class WorkedOut:
    """Readings in vessel order, what the blank held in percent of the spike, and how."""

    readings: tuple[float | str | None, ...]
    blank_percent: float
    remark: str
    warnings: tuple[str, ...] = field(default=())


def control(vessel: str, remark: str) -> str:
    """"reference" or "blank" for a row that is no sample, else an empty string."""
    match = CONTROL.fullmatch(vessel.casefold())
    if match is not None:
        return match[1]
    return "blank" if remark.casefold() == "blank" else ""


def work_out(amounts: Amounts, vessels: int) -> WorkedOut:
    """Recoveries from amounts.

    Raises
    ------
    EntryError
        without a reference, for a blank above 30 % of the spike, or where less was found than
        in the blank
    """
    name = amounts.analyte.name
    measured: dict[int, float] = {}
    limits: dict[int, float] = {}
    for vessel, amount in amounts.found.items():
        if isinstance(amount, str):
            limits[vessel] = float(amount.lstrip("<"))
        elif amount is not None:
            measured[vessel] = amount
    try:
        found = recoveries([measured.get(v) for v in range(1, vessels + 1)], amounts.references,
                           amounts.spiked, amounts.blank, amounts.is_corrected)
    except EntryError as error:
        raise EntryError(f"{name}: {error.message}", error.cure) from None
    less = [v for v, amount in measured.items() if amount < amounts.blank]
    if less:
        raise EntryError(f"{name}: less was found than in the blank, vessel "
                         f"{', '.join(map(str, less))}.",
                         "Write it as below a limit, such as <0.2, or check the blank.")
    readings: list[float | str | None] = [
        None if value is None else round(value, DIGITS) for value in found.percent
    ]
    for vessel, limit in limits.items():
        readings[vessel - 1] = f"<{100.0 * limit / found.reference_ug:.{DIGITS}f}"
    return WorkedOut(tuple(readings), found.blank_percent, _remark(amounts, vessels),
                     tuple(f"{name}: {r}" for r in found.remarks))


def _remark(amounts: Amounts, vessels: int) -> str:
    """The amounts themselves, so that a reader of the record can work it out again."""
    shown = " ".join(_plain(amounts.found.get(v)) for v in range(1, vessels + 1))
    references = " ".join(_plain(r) for r in amounts.references)
    return (f"{amounts.analyte.name} from amounts in µg: found {shown}; reference {references}; "
            f"blank {_plain(amounts.blank)}; spiked {_plain(amounts.spiked)}")


def _plain(amount: Amount) -> str:
    if amount is None:
        return "–"
    return amount if isinstance(amount, str) else f"{amount:.5g}"


def read_amount(text: str, number: Callable[[str], float]) -> Amount:
    """A cell of an amount: a number, "<0.2", or empty.

    Raises
    ------
    EntryError
        for what is neither, or negative
    """
    if not text:
        return None
    censored = text.startswith("<")
    value = number(text[1:].strip() if censored else text)
    if value < 0.0 or (censored and value == 0.0):
        raise EntryError(f"An amount of {value:g} µg is not possible.",
                         "Give micrograms from zero up; leave empty what was not measured.")
    return f"<{value:.12g}" if censored else value


def must_not_stand_twice(analyte: str, percent: Any) -> None:
    """Refuse a recovery typed beside the amounts it would follow from."""
    if percent is not None:
        raise EntryError(f"{analyte} has both amounts found and a recovery.",
                         "Keep one of the two.")
