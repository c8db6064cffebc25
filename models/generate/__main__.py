"""Write one packaged table to standard output.

``python -m models.generate substances > new.csv && mv new.csv models/data/substances.csv``: not
straight into the table, which a row that cannot be made would leave empty. Likewise
``unifac_groups``, ``unifac_interactions``, ``unifac_completed`` and ``nrtl``.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from models.generate import interactions
from models.reference_library import read_substance
from models.substances import Substance

LIST = Path(__file__).with_name("usual_substances.csv")


def substances() -> Iterable[dict[str, object]]:
    """Rows of ``substances.csv``."""
    for row in csv.DictReader(LIST.read_text("utf-8").splitlines()):
        names = tuple(s for s in row["synonyms"].split("|") if s)
        look_up, *others = row["look_up"].split("|")
        made = read_substance(row["name"], look_up, row["role"], (*names, *others))
        yield flat(made)


def flat(s: Substance) -> dict[str, object]:
    """One substance as a row of text and numbers."""
    row: dict[str, object] = {
        "name": s.name, "cas": s.cas, "role": s.role, "synonyms": "|".join(s.synonyms),
        "formula": s.formula, "smiles": s.smiles, "molar_mass": f"{s.molar_mass:.6g}",
    }
    row |= {f"c{i}": f"{c:.10g}" for i, c in enumerate(s.ln_p)}
    row |= {"ln_p_sd": f"{s.ln_p_sd:.3g}", "t_low": f"{s.ln_p_range[0]:.1f}",
            "t_high": f"{s.ln_p_range[1]:.1f}"}
    row |= {f"h{i}": f"{h:.8g}" for i, h in enumerate(s.h_vap)}
    for key in ("density", "heat_capacity", "boiling_temperature", "freezing_temperature",
                "flash_temperature", "flash_source", "ignition_temperature", "ignition_source",
                "lower_flammable_limit"):
        value = getattr(s, key)
        row[key] = value if isinstance(value, str) else f"{value:.6g}"
    row["unifac"] = " ".join(f"{k}:{v}" for k, v in s.unifac.items())
    row["unifac_dortmund"] = " ".join(f"{k}:{v}" for k, v in s.unifac_dortmund.items())
    row["sources"] = "|".join(f"{k}={v}" for k, v in s.sources.items())
    row["warnings"] = "|".join(s.warnings)
    row["points"] = s.points_text
    return row


TABLES: dict[str, Callable[[], Iterable[dict[str, object]]]] = {
    "substances": substances,
    "unifac_groups": interactions.groups,
    "unifac_interactions": interactions.interactions,
    "unifac_completed": interactions.completed,
    "nrtl": interactions.nrtl,
}


def main(names: list[str]) -> int:
    """Print the named table; 2 when there is no such table."""
    if len(names) != 1 or names[0] not in TABLES:
        sys.stderr.write(f"Name one table: {', '.join(TABLES)}.\n")
        return 2
    rows = list(TABLES[names[0]]())
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    sys.stdout.write(out.getvalue())
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
