"""What a dossier took over from an earlier one, as it stands in its record.

The numbers are copied once and never looked up again, so that a later change of the earlier
dossier changes nothing here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from experiments.entries import EntryError
from experiments.job import EvaporationJob
from experiments.wording import counted
from models.parameters import INDEX, PARAMETERS


@dataclass(frozen=True)
class Carried:
    """One quantity: its centre in its unit and a standard deviation, of its logarithm where it
    cannot be negative (``log``).
    """

    centre: float
    sd: float
    log: bool = True


@dataclass(frozen=True)
class Source:
    """The earlier dossier as it was then: revision and hash of its last event."""

    id: str
    title: str
    version: int
    revision: int
    hash: str
    trials: int


@dataclass(frozen=True)
class CarryOver:
    """What was carried over.

    ``weight`` is the probability beforehand that it holds; ``equipment`` by run-model parameter,
    ``analytes`` the multiplier of each volatility; ``left_out`` says what was not carried and
    why.
    """

    source: Source
    weight: float
    equipment: Mapping[str, Carried]
    analytes: Mapping[str, Carried]
    left_out: tuple[str, ...] = ()


def carry_over_payload(carried: CarryOver) -> dict[str, Any]:
    """What was carried over as JSON data."""
    return {**asdict(carried), "left_out": list(carried.left_out)}


def read_carry_over(data: Mapping[str, Any]) -> CarryOver:
    """What a "carried over" event says.

    Raises
    ------
    EntryError
        when it holds what cannot be
    """
    parts = {
        name: {str(key): Carried(float(v["centre"]), float(v["sd"]), bool(v["log"]))
               for key, v in data[name].items()}
        for name in ("equipment", "analytes")
    }
    unknown = sorted(set(parts["equipment"]) - set(INDEX))
    numbers = [float(data["weight"])]
    for quantity in (*parts["equipment"].values(), *parts["analytes"].values()):
        numbers += [quantity.sd, quantity.centre if quantity.log else 1.0]
    possible = all(math.isfinite(n) and n > 0.0 for n in numbers) and data["weight"] < 1.0
    if unknown or not possible:
        raise EntryError("What was carried over holds what cannot be.",
                         "Start the dossier again from the earlier one.")
    source = Source(**{f.name: data["source"][f.name] for f in fields(Source)})
    return CarryOver(source, float(data["weight"]), parts["equipment"], parts["analytes"],
                     tuple(str(x) for x in data["left_out"]))


def carried_words(carried: CarryOver) -> str:
    """One sentence of what was carried over."""
    source = carried.source
    parts = [PARAMETERS[INDEX[name]].meaning for name in carried.equipment]
    parts += [f"volatility of {name}" for name in carried.analytes]
    return (
        f"Carried over from dossier {source.id} (\"{source.title}\", version {source.version}, "
        f"record {source.revision}, {counted(source.trials, 'trial')}), with a probability of "
        f"{100 * carried.weight:.0f} % that it holds here: {', '.join(parts)}."
    )


def must_still_hold(carried: CarryOver | None, old: EvaporationJob, new: EvaporationJob) -> None:
    """Refuse a change of the job on which something carried over rests."""
    if carried is None:
        return
    before, after = ((j.equipment, j.sample.solvents, j.sample.keeper,
                      {a.name for a in j.analytes}) for j in (old, new))
    if before != after:
        raise EntryError(
            f"This dossier carries knowledge over from dossier {carried.source.id}, made for its "
            "evaporator, solvents, keeper and analytes.",
            "Start another dossier for the changed job.")
