"""The report's table of what was corrected, kept out or withdrawn."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from experiments.authorisation import authorise
from experiments.dossier import Dossier
from experiments.report.document import Paragraph, Table
from experiments.report.trials_part import deviations
from experiments.trials import Recovery, Result
from experiments.verification_runs import VerificationRun, run_payload

ANALYTE = "diethyl phthalate"


def told(dossier: Dossier):
    return deviations(SimpleNamespace(dossier=dossier, odd=())).blocks


def rows(dossier: Dossier) -> list[list[str]]:
    (table,) = told(dossier)
    assert isinstance(table, Table)
    return [[cell.text for cell in row] for row in table.rows]


def test_a_corrected_trial_and_a_corrected_verification_run_stand_with_old_and_new(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={ANALYTE: 0.92})
    dossier.correct("T1", "a decimal", recovery_percent={ANALYTE: 92.0})
    run = VerificationRun("V1", dossier.trial("T1").setting, Result(
        40.0, recovery={ANALYTE: (Recovery(91.0),)}, is_mean={ANALYTE: True}))
    dossier.note_event("verification recorded", run_payload(run))
    mended = replace(run, result=replace(run.result, run_time_min=43.0, day="2026-03-10"))
    dossier.note_event("verification corrected", {
        **run_payload(mended), "reason": "the clock was misread",
        "replaces": dossier.events[-1].seq})
    corrected, verified = (e for e in dossier.events if e.kind.endswith("corrected"))
    assert rows(dossier) == [
        ["T1", "corrected", f"{ANALYTE} 0.92 % to 92 %", "a decimal", corrected.who,
         corrected.at[:16].replace("T", " ")],
        ["V1", "corrected", "run time 40 min to 43 min; day none to 2026-03-10",
         "the clock was misread", verified.who, verified.at[:16].replace("T", " ")],
    ]
    (table,) = told(dossier)
    assert [row[0].record for row in table.rows] == [corrected.seq, verified.seq]


def test_what_was_left_out_and_let_in_again_is_told_in_order(dossier):
    dossier.record("T1", run_time_min=41.5, recovery_percent={ANALYTE: 90.0})
    dossier.exclude("T1", "spilt")
    dossier.include("T1", "it was another vessel")
    assert [row[:4] for row in rows(dossier)] == [
        ["T1", "kept out of the fit", "–", "spilt"],
        ["T1", "counted again", "–", "it was another vessel"],
    ]


def test_an_authorisation_changes_no_result_and_stands_in_the_history_alone(job_mapping):
    """It names no trial, which the table once asked for."""
    job_mapping["analytes"].append({"name": "2,4,6-trinitrotoluene",
                                    "target_recovery_percent": 80})
    dossier = Dossier.start(job_mapping)
    authorise(dossier, "A. Person", "behind a shield")
    (said,) = told(dossier)
    assert isinstance(said, Paragraph)
    assert said.text == "No result was corrected, kept out or withdrawn."
