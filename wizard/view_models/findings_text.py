"""Findings of the models as lines of the screen."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from experiments.substance_text import in_print
from models.errors import Finding
from models.quantities import kelvin
from wizard.units import Units
from wizard.view_models.job_draft import value_at

ORDER = {"stop": 0, "caution": 1, "info": 2}
SIGNS = {"stop": ":material/block:", "caution": ":material/warning:", "info": ":material/info:"}
WORDS = {"stop": "Stop", "caution": "Caution", "info": ""}


@dataclass(frozen=True)
class FindingLine:
    """A sign, a word for its gravity, and what is said."""

    sign: str
    word: str
    text: str


def finding_lines(findings: Iterable[Finding], units: Units) -> list[FindingLine]:
    """Findings without repeats, the gravest first."""
    ordered = sorted(dict.fromkeys(findings), key=lambda f: ORDER[f.severity])
    return [
        FindingLine(SIGNS[f.severity], WORDS[f.severity],
                    units.sentence(in_print(f.sentence)))
        for f in ordered
    ]


@dataclass(frozen=True)
class JobSubstances:
    """What the cautions of a job rest on; ``structures`` are SMILES by analyte."""

    solvents: tuple[str, ...]
    keepers: tuple[str, ...]
    analytes: tuple[str, ...]
    to_dryness: bool
    peroxide_test: str
    structures: Mapping[str, str]
    condenser_temperature_k: float


def job_substances(draft: Mapping[str, Any]) -> JobSubstances:
    """The substances of a job, as far as they are named."""
    solvents = [r for r in value_at(draft, "sample.solvents") or [] if isinstance(r, Mapping)]
    analytes = [r for r in draft.get("analytes") or [] if isinstance(r, Mapping)]
    keeper = value_at(draft, "sample.keeper.name")
    choices = value_at(draft, "factors.keeper.choices")
    keepers = choices if isinstance(choices, list) and choices else [keeper]
    lowest = value_at(draft, "factors.end_volume_ml.low")
    end = value_at(draft, "sample.end_volume_ml") if lowest is None else lowest
    condenser = value_at(draft, "equipment.condenser_temperature_c")
    return JobSubstances(
        solvents=tuple(str(r["name"]) for r in solvents if r.get("name")),
        keepers=tuple(str(k) for k in keepers if k),
        analytes=tuple(str(r["name"]) for r in analytes if r.get("name")),
        to_dryness=not keeper and not end,
        peroxide_test=str(value_at(draft, "sample.peroxide_test") or ""),
        structures={str(r.get("name")): str(r["smiles"]) for r in analytes if r.get("smiles")},
        condenser_temperature_k=kelvin(condenser) if isinstance(condenser, int | float)
        else math.inf,
    )
