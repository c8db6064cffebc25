"""What the rows of one trial agree on, every disagreement collected as a fault."""

from __future__ import annotations

from collections.abc import Callable

from experiments.entries import EntryError
from experiments.table_numbers import Sign, read_number
from experiments.table_rows import Group, RowFault, TableRow


class GroupReader:
    """Reads cells of one group of rows; what cannot be read is added to ``faults``."""

    def __init__(self, group: Group, sign: Sign) -> None:
        self.label, self.rows, self.sign = group.label, group.rows, sign
        self.first = group.rows[0].number
        self.faults: list[RowFault] = []

    def fault(self, row: int, reason: str, cure: str) -> None:
        """Note why a row cannot be taken."""
        self.faults.append(RowFault(row, reason, cure))

    def row_of(self, column: str, value: str) -> int:
        """The number of the first row that says so."""
        return next(r.number for r in self.rows if r.text(column) == value)

    def agreed(self, column: str, key: Callable[[str], str] = str.casefold) -> str:
        """The first of the values that the rows give in a column, all of one key; "" for none."""
        texts = [t for r in self.rows if (t := r.text(column))]
        values = [t for i, t in enumerate(texts) if key(t) not in map(key, texts[:i])]
        if len(values) > 1:
            self.fault(self.row_of(column, values[1]),
                       f"The rows of this trial give different values of {column}: "
                       f"{', '.join(v[:40] for v in values[:4])}.", "Make them agree.")
        return values[0] if values else ""

    def agreed_number(self, column: str, what: str) -> float | None:
        """The one number that the rows give; 41 and 41.0 agree."""
        values: dict[float, int] = {}
        for row in self.rows:
            number = self.number(row, column, what)
            if number is not None:
                values.setdefault(number, row.number)
        if len(values) > 1:
            shown = ", ".join(f"{v:g}" for v in list(values)[:4])
            self.fault(list(values.values())[1],
                       f"The rows of this trial give different values of {column}: {shown}.",
                       "Make them agree.")
        return next(iter(values), None)

    def number(self, row: TableRow, column: str, what: str) -> float | None:
        """The number of a cell, ``what`` being its name in words; None where it is empty."""
        cell = row.cells.get(column, "")
        if isinstance(cell, float):
            return cell
        text = row.text(column)
        if not text:
            return None
        try:
            return read_number(text, self.sign)
        except EntryError as error:
            self.fault(row.number, f"The {what}: {error.message}", error.cure)
            return None
