"""The content of a report: every number and sentence of it, computed from the record."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from experiments.dossier import Dossier
from experiments.events import canonical
from experiments.job_text import to_mapping
from experiments.json_data import plain
from experiments.progress import Progress
from experiments.report import (
    answer_part,
    fit_part,
    job_part,
    logs_part,
    physics_part,
    proof_part,
    record_part,
    trials_part,
)
from experiments.report.digits import setting_words, value
from experiments.report.document import Attachment, Document
from experiments.report.gathered import Gathered, gather
from experiments.report.method_sheet import method_sheet
from experiments.report.record_part import DATA_NAME, EXPORT_NAME, software_versions
from experiments.report.robustness_part import robustness
from experiments.report.terms import terms
from experiments.transfer import pack
from experiments.wording import as_asked, counted, percent

KIND = "Justification of a vacuum-evaporation method"


def build(dossier: Dossier, date: str, progress: Progress | None = None) -> Document:
    """The report of a dossier.

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
    return compose(gather(dossier, progress), date)


def compose(g: Gathered, date: str) -> Document:
    """The report of what was gathered."""
    dossier = g.dossier
    argued = [s for s in (
        job_part.purpose(g), answer_part.recommendation(g), answer_part.region(g),
        answer_part.gain(g), robustness(g), proof_part.verification(g), proof_part.cautions(g),
        job_part.equipment(g), job_part.substances(g), physics_part.window(g),
        physics_part.design(g), trials_part.trials(g), logs_part.logs(g),
        trials_part.deviations(g),
        fit_part.fit(g), proof_part.uncertainty(g), record_part.record(g),
    ) if s is not None]
    sections = (*argued, terms(argued), record_part.signatures(g), method_sheet(g))
    data = record_data(g)
    return Document(
        title=dossier.job.title, kind=KIND, subtitle=_subtitle(g), date=date[:10],
        facts=_facts(g, date), sections=sections,
        foot=f"Dossier {dossier.id}, version {dossier.version}, record "
        f"{dossier.events[-1].seq} ({dossier.events[-1].hash[:10]}), {date[:10]}",
        attachments=(
            Attachment(DATA_NAME, "application/json", "Every number of this report",
                       json.dumps(data, sort_keys=True, indent=1, ensure_ascii=False).encode()),
            Attachment(EXPORT_NAME, "application/zip",
                       "The whole record; boilwright import reads it", pack(dossier)),
        ),
    )


def _subtitle(g: Gathered) -> str:
    job = g.dossier.job
    return (
        f"{job.equipment.name}, {job_part.solvents_words(job)}, "
        f"{job_part.end_words(job.sample_at(g.setting))}, "
        f"{counted(len(job.analytes), 'analyte')}"
    )


def _facts(g: Gathered, date: str) -> tuple[tuple[str, str], ...]:
    label = "setting" if g.is_recommended else "best setting found"
    time = g.shown.run_time_min
    return (
        ("status", f"{g.answer.status}; verification "
         f"{job_part.decision_word(g)}; dossier {g.dossier.state}"),
        (label, setting_words(g.dossier.job, g.setting)),
        ("run time", f"{value(time.mean, 0)} min (95 % interval {value(time.low, 0)} to "
         f"{value(time.high, 0)})"),
        ("probability", f"{percent(g.shown.probability)} that every target is met (asked "
         f"{as_asked(g.dossier.job.limits.assurance)})"),
        ("dossier", f"{g.dossier.id}, version {g.dossier.version}"),
        ("date", date[:10]),
    )


def record_data(g: Gathered) -> dict[str, Any]:
    """Every number of the report as JSON data; what does not exist is null."""
    dossier = g.dossier
    data = {
        "schema_version": 2,
        "dossier": dossier.id,
        "version": dossier.version,
        "state": dossier.state,
        "seed": dossier.job.seed,
        "software": software_versions(),
        "job": to_mapping(dossier.job),
        "last_record": {"seq": dossier.events[-1].seq, "hash": dossier.events[-1].hash},
        "answer": {
            "status": g.answer.status, "reason": g.answer.reason, "setting": g.answer.setting,
            "probability": g.answer.probability,
            "remedies": [asdict(r) for r in g.answer.remedies],
            "fastest": None if g.answer.fastest is None else g.answer.fastest.setting,
        },
        "shown": asdict(g.shown),
        "single_run": asdict(g.new_run),
        "region": None if g.region is None else {
            "assurance": g.region.assurance, "box": [asdict(r) for r in g.region.box],
            "proven_acceptable_ranges": [asdict(r) for r in g.region.proven],
            "share_of_window": g.region.share, "lowest_in_box": g.region.lowest,
            "settings_checked": g.region.checked, "whole_box_at_once": g.region.together,
        },
        "drifts": [asdict(d) for d in g.drifts],
        "neighbours": [asdict(n) for n in g.neighbours],
        "leave_one_out": [asdict(r) for r in g.readings],
        "parameters": [asdict(x) for x in g.learnt],
        "limits": [asdict(x) for x in g.limits],
        "differences": [asdict(d) for d in g.comparison.differences],
        "verification": g.verification.as_json(),
        "trials": [asdict(t) for t in dossier.trials],
    }
    numbers: dict[str, Any] = plain(data)
    return {**numbers, "digest": hashlib.sha256(canonical(numbers).encode()).hexdigest()}
