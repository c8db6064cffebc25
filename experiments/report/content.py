"""The content of a report: every number and sentence, computed from the record."""

from __future__ import annotations

import hashlib
import sys
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from experiments.answers import Answer
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.events import canonical
from experiments.job import Setting
from experiments.job_text import to_mapping
from experiments.report import answer_sections, job_sections, trial_sections
from experiments.report.blocks import ReportContent
from experiments.report.method_sheet import method_sheet
from experiments.report.words import number, setting_words

if TYPE_CHECKING:
    from experiments.fitted import Fitted, Progress


def build(dossier: Dossier, date: str, progress: Progress | None = None) -> ReportContent:
    """The content of the report of a dossier.

    Parameters
    ----------
    dossier : with at least one recorded trial
    date : ISO 8601, printed on the report
    progress : called with the share done; may raise to cancel

    Raises
    ------
    EntryError
        when there is nothing to report yet
    """
    if not dossier.recorded:
        raise EntryError("This dossier has no results, so there is nothing to report.",
                         "Record at least one trial first.")
    fitted = dossier.fitted()
    answer = dossier.recommend()
    if progress is not None:
        progress(0.4, "writing sentences")
    shown = answer.setting or (answer.compromise.setting if answer.compromise else None)
    sections = (
        *job_sections.build(dossier, fitted),
        *trial_sections.build(dossier, fitted, shown),
        *answer_sections.build(dossier, fitted, answer, shown),
    )
    if progress is not None:
        progress(0.8, "drawing figures")
    data = record_data(dossier, fitted, answer)
    return ReportContent(
        title=dossier.job.title,
        subtitle="Justification of a vacuum-evaporation method",
        dossier_id=dossier.id,
        date=date,
        summary=_summary(dossier, answer, shown),
        sections=sections,
        method_sheet=method_sheet(dossier, answer, shown),
        data=data,
        digest=hashlib.sha256(canonical(data).encode()).hexdigest(),
    )


def _summary(
    dossier: Dossier, answer: Answer, shown: Setting | None
) -> tuple[tuple[str, str], ...]:
    rows = [("Status", f"{answer.status}; dossier {dossier.state}, version {dossier.version}")]
    if shown is not None:
        label = "Setting" if answer.setting is not None else "Best compromise"
        rows.append((label, setting_words(shown)))
        time = answer.run_time_min
        rows.append(("Run time", f"{number(time.mean)} min (95 % interval {number(time.low)} to "
                     f"{number(time.high)} min)"))
    rows.append(("Probability", f"{100 * answer.probability:.0f} % that every target is met and "
                 f"the run ends in time; asked {100 * dossier.job.limits.assurance:g} %"))
    rows.append(("Why", answer.reason))
    return tuple(rows)


def record_data(dossier: Dossier, fitted: Fitted, answer: Answer) -> dict[str, Any]:
    """The machine-readable record: job, events, answer, versions."""
    forecast = answer.compromise
    return {
        "schema_version": 1,
        "dossier": dossier.id,
        "job": to_mapping(dossier.job),
        "seed": dossier.job.seed,
        "events": [
            {"seq": e.seq, "at": e.at, "who": e.who, "kind": e.kind, "payload": dict(e.payload),
             "previous_hash": e.previous_hash, "hash": e.hash}
            for e in dossier.events
        ],
        "answer": {
            "status": answer.status, "setting": answer.setting, "reason": answer.reason,
            "probability": answer.probability, "run_time_min": vars(answer.run_time_min),
            "recovery_percent": {k: vars(v) for k, v in answer.recovery_percent.items()},
            "compromise": None if forecast is None else forecast.setting,
            "fastest": None if answer.fastest is None else answer.fastest.setting,
        },
        "software": software_versions(),
        "particles": len(fitted.surrogate.posterior_.z),
    }


def software_versions() -> dict[str, str]:
    """Versions that the numbers depend on."""
    names = ("boilwright", "numpy", "scipy", "numba", "scikit-learn")
    found = {name: version(name) for name in names}
    return {"python": ".".join(map(str, sys.version_info[:3])), **found}
