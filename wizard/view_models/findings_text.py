"""Findings of the models as lines of the screen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from models.errors import Finding
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
                    units.sentence(f"{f.message} {f.cure}".strip()))
        for f in ordered
    ]


@dataclass(frozen=True)
class JobSubstances:
    """What the cautions of a job rest on."""

    solvents: tuple[str, ...]
    keeper: str | None
    analytes: tuple[str, ...]
    to_dryness: bool
    peroxide_test: str


def job_substances(draft: Mapping[str, Any]) -> JobSubstances:
    """The substances of a job, as far as they are named."""
    solvents = [r for r in value_at(draft, "sample.solvents") or [] if isinstance(r, Mapping)]
    analytes = [r for r in draft.get("analytes") or [] if isinstance(r, Mapping)]
    keeper = value_at(draft, "sample.keeper.name")
    end = value_at(draft, "sample.end_volume_ml")
    return JobSubstances(
        solvents=tuple(str(r["name"]) for r in solvents if r.get("name")),
        keeper=str(keeper) if keeper else None,
        analytes=tuple(str(r["name"]) for r in analytes if r.get("name")),
        to_dryness=not keeper and not end,
        peroxide_test=str(value_at(draft, "sample.peroxide_test") or ""),
    )
