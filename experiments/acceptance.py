"""What a verification must show: written criteria, and what published guidance asks.

Numbers of guidance carry the document, edition and clause. ``seen`` tells whether they were
read in the document itself; where not, every text made from them says "check your edition".
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from experiments.entries import EntryError
from experiments.job import EvaporationJob

RSD_MAX_PERCENT = 10.0
"""Scatter allowed to the evaporation step unless the laboratory says otherwise (common
practice, no source)."""
RUNS, DAYS, MOST_RUNS = 6, 3, 60
ALL = 1e9  # ug/kg: the pure substance
BELOW_TEN = math.nextafter(10.0, 0.0)  # the text has both "1-10" and "from 10"


@dataclass(frozen=True)
class Band:
    """Limits that hold up to a level of analyte in the sample, from the next lower one on."""

    up_to_ug_per_kg: float
    low: float
    high: float
    rsd_max: float | None = None


@dataclass(frozen=True)
class Guidance:
    """Limits of one published document, by level where it distinguishes levels."""

    key: str
    document: str
    edition: str
    clause: str
    seen: bool
    bands: tuple[Band, ...] = ()
    runs: int | None = None
    note: str = ""

    @property
    def citation(self) -> str:
        text = f"{self.document}, {self.edition}, {self.clause}"
        return text if self.seen else f"{text} (check your edition)"

    def band(self, level_ug_per_kg: float | None) -> Band:
        """The band of a level; between two levels the stricter, that is the higher one.

        Raises
        ------
        EntryError
            when the document sets no limit, or sets one by level and none was given
        """
        if not self.bands:
            raise EntryError(f"{self.document} sets no numeric limit for recovery.",
                             "Write your own criteria beforehand, as it asks.")
        if len(self.bands) == 1:
            return self.bands[0]
        if level_ug_per_kg is None or not level_ug_per_kg > 0.0:
            raise EntryError(f"{self.document} sets its limits by concentration.",
                             "Give the level in µg of analyte per kg of sample.")
        for band in self.bands:
            if level_ug_per_kg <= band.up_to_ug_per_kg:
                return band
        raise EntryError(f"A level of {level_ug_per_kg:g} µg/kg is more than the sample itself.",
                         "Give the level in µg of analyte per kg of sample.")


def _steps(*rows: tuple[float, float, float, float | None]) -> tuple[Band, ...]:
    return tuple(Band(*row) for row in rows)


GUIDANCE: tuple[Guidance, ...] = (
    Guidance(
        "aoac", "AOAC Official Methods, Appendix F", "2012", "tables A4 and A5, page 9", True,
        _steps((1.0, 40, 120, 30), (10.0, 60, 115, 21), (1e2, 80, 110, 15), (1e3, 80, 110, 11),
               (1e4, 80, 110, 7.3), (1e5, 90, 107, 5.3), (1e6, 95, 105, 3.7),
               (1e7, 97, 103, 2.7), (1e8, 98, 102, 1.9), (1e9, 98, 102, 1.3)),
        note="Expected recovery and repeatability by level; between two levels the stricter "
        "of the two is taken.",
    ),
    Guidance(
        "eu-2021-808", "Regulation (EU) 2021/808", "2021", "annex I, 1.2.2.1 (trueness)", True,
        _steps((1.0, 50, 120, None), (BELOW_TEN, 70, 120, None), (ALL, 80, 120, None)),
        note="Trueness only; the coefficients of variation of 1.2.2.2 are not taken over.",
    ),
    Guidance(
        "sante", "SANTE/11312/2021", "version 2, 2023", "initial validation", False,
        (Band(ALL, 70, 120, 20),), runs=5,
    ),
    Guidance(
        "codex-residues", "Codex CXG 40 (CAC/GL 40)", "1993, as amended", "table 3", False,
        _steps((1.0, 50, 120, 35), (10.0, 60, 120, 30), (100.0, 70, 120, 20),
               (1000.0, 70, 110, 15), (ALL, 70, 110, 10)),
    ),
    Guidance(
        "codex-pah", "Codex Stan 234", "1999", "page 46 (ISO 17993, PAH in water)", True,
        (Band(ALL, 80, 110, 10),),
        note="The scatter there is between laboratories.",
    ),
    Guidance(
        "codex-organochlorines", "Codex Stan 234", "1999", "page 46 (AOAC 990.06, in water)",
        True, (Band(ALL, 70, 130, 20),), note="The scatter there is between laboratories.",
    ),
    Guidance(
        "epa-8000d", "EPA SW-846 Method 8000D", "revision 5, 2018", "section 9, interim limits",
        False, (Band(ALL, 70, 130, None),),
        note="Until in-house limits from 15 to 20 runs exist.",
    ),
    Guidance(
        "epa-525-3", "EPA Method 525.3", "2012", "section 9, initial demonstration", False,
        (Band(ALL, 70, 130, 20),), runs=4,
    ),
    Guidance(
        "ich-q2", "ICH Q2(R2)", "1 November 2023", "accuracy and precision", False, runs=6,
        note="Sets no numeric recovery limit: the laboratory defines its own beforehand.",
    ),
)


def find_guidance(key: str) -> Guidance:
    """The guidance of that key; EntryError with the known ones when there is none."""
    for guidance in GUIDANCE:
        if guidance.key == key:
            return guidance
    raise EntryError(f"There is no preset {key!r}.",
                     f"Use one of: {', '.join(g.key for g in GUIDANCE)}.")


@dataclass(frozen=True)
class AnalyteCriteria:
    """What one analyte must show; all in percent of the spike.

    ``target`` is held against the one-sided confidence limit of the mean, ``action_limit``
    against a tolerance limit for single vessels; the two are never mixed.
    """

    analyte: str
    target: float
    mean_low: float
    mean_high: float
    rsd_max: float = RSD_MAX_PERCENT
    action_limit: float | None = None
    decides: bool = True


@dataclass(frozen=True)
class Criteria:
    """The written criteria of a verification, fixed before its first run."""

    analytes: tuple[AnalyteCriteria, ...]
    runs: int = RUNS
    days: int = DAYS
    confidence: float = 0.95
    coverage: float = 0.90
    max_run_time_min: float = 240.0
    blank_max_percent: float = 30.0
    source: str = "the job's own targets"

    @property
    def deciding(self) -> tuple[AnalyteCriteria, ...]:
        return tuple(a for a in self.analytes if a.decides)


def default_criteria(job: EvaporationJob, **changes: Any) -> Criteria:
    """Criteria from the job's targets: band from target to upper limit, scatter 10 %."""
    rows = tuple(
        AnalyteCriteria(
            a.name, a.target_recovery_percent, a.target_recovery_percent,
            a.upper_recovery_percent, decides=a.role == "must",
        )
        for a in job.analytes
    )
    made = Criteria(rows, max_run_time_min=job.limits.max_run_time_min)
    return check_criteria(replace(made, **changes))


def criteria_from_guidance(
    job: EvaporationJob, key: str, level_ug_per_kg: float | None = None
) -> Criteria:
    """Criteria with the band and scatter of published guidance.

    The job's target stays what the confidence limit of the mean is held against: guidance
    for whole methods does not lower what was asked of this step.
    """
    guidance = find_guidance(key)
    band = guidance.band(level_ug_per_kg)
    base = default_criteria(job)
    rows = tuple(
        replace(a, mean_low=band.low, mean_high=band.high,
                rsd_max=RSD_MAX_PERCENT if band.rsd_max is None else band.rsd_max)
        for a in base.analytes
    )
    runs = max(RUNS, guidance.runs or 0)
    return check_criteria(replace(base, analytes=rows, runs=runs, source=guidance.citation))


def check_criteria(criteria: Criteria) -> Criteria:
    """The criteria, or an EntryError that says what in them cannot be."""
    if not DAYS <= criteria.days <= criteria.runs <= MOST_RUNS:
        raise EntryError(
            f"{criteria.runs} runs on {criteria.days} days are no verification.",
            f"Plan {DAYS} to {MOST_RUNS} runs on at least {DAYS} days, at most one day a run.",
        )
    for share, what in ((criteria.confidence, "confidence"), (criteria.coverage, "coverage")):
        if not 0.5 <= share < 1.0:
            raise EntryError(f"A {what} of {share:g} is not possible.", "Use one like 0.95.")
    if not criteria.deciding:
        raise EntryError("No analyte decides.", 'Give at least one analyte the role "must".')
    for row in criteria.analytes:
        if not 0.0 <= row.mean_low < row.mean_high:
            raise EntryError(
                f"The band {row.mean_low:g}-{row.mean_high:g} % of {row.analyte} is empty.",
                "Give a lower and a higher limit.",
            )
        if not row.rsd_max > 0.0:
            raise EntryError(f"A scatter limit of {row.rsd_max:g} % is not possible.",
                             "Give a relative standard deviation above 0.")
        if row.action_limit is not None and row.action_limit >= row.target:
            raise EntryError(
                f"The action limit of {row.analyte} ({row.action_limit:g} %) is not below its "
                f"target ({row.target:g} %).",
                "A single vessel may fall below the mean: set the action limit lower.",
            )
    return criteria


def criteria_payload(criteria: Criteria) -> dict[str, Any]:
    """The criteria as JSON data."""
    return asdict(criteria)


def read_criteria(data: Mapping[str, Any]) -> Criteria:
    """Criteria from JSON data; unknown keys are an error."""
    known = {f.name for f in fields(Criteria)}
    unknown = sorted(set(data) - known)
    if unknown:
        raise EntryError(f"Criteria do not have {', '.join(unknown)}.",
                         f"Use: {', '.join(sorted(known))}.")
    rows: Sequence[Mapping[str, Any]] = data["analytes"]
    try:
        analytes = tuple(AnalyteCriteria(**row) for row in rows)
    except TypeError as fault:
        raise EntryError("The criteria of an analyte are not understood.",
                         "Give analyte, target, mean_low and mean_high.") from fault
    return check_criteria(Criteria(**{**data, "analytes": analytes}))
