"""The readings of a result as a table to correct them in, and back. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from experiments.job import EvaporationJob
from experiments.trials import Result
from wizard.units import NotANumber, read_number

MEAN = "mean"


def reading_rows(
    job: EvaporationJob, result: Result, sign: Callable[[str], str] = str
) -> list[list[str]]:
    """One row a vessel with what was read there, and one for means over all vessels.

    Means come first where there are any.
    """
    def cell(name: str, place: int | None) -> str:
        held = result.recovery.get(name, ())
        if bool(result.is_mean.get(name)) is (place is not None):
            return ""
        reading = held[place or 0] if len(held) > (place or 0) else None
        return "" if reading is None else sign(str(reading))

    names = [a.name for a in job.analytes]
    rows = [[str(v + 1), *(cell(n, v) for n in names)] for v in range(job.equipment.vessels)]
    means = [MEAN, *(cell(n, None) for n in names)]
    return [means, *rows] if any(result.is_mean.values()) else [*rows, means]


def read_readings(
    job: EvaporationJob, rows: Sequence[Sequence[str]]
) -> Mapping[str, object]:
    """What the table says, as recoveries of a record.

    Raises
    ------
    NotANumber
        naming analyte and vessel
    """
    found: dict[str, object] = {}
    for column, analyte in enumerate(job.analytes, start=1):
        read = {row[0]: _value(row[column], analyte.name, row[0]) for row in rows}
        mean, vessels = read.pop(MEAN), list(read.values())
        if mean is not None and any(v is not None for v in vessels):
            raise NotANumber(f"{analyte.name} has readings of vessels and a mean: empty one.")
        found[analyte.name] = vessels if mean is None else mean
    return found


def _value(text: str, analyte: str, vessel: str) -> object:
    bare = text.strip()
    if not bare:
        return None
    try:
        return (f"<{read_number(bare[1:]):g}" if bare.startswith("<") else read_number(bare))
    except NotANumber as error:
        where = "the mean" if vessel == MEAN else f"vessel {vessel}"
        raise NotANumber(f"{analyte}, {where}: {error}") from None
