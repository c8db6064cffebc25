"""The bench sheet: runs in random order with settings, positions and fields to fill in.

Filled in, the CSV or XLSX sheet comes back through :mod:`experiments.results_table`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from experiments.authorisation import job_cautions
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.job import EvaporationJob, Setting
from experiments.output_file import write_whole
from experiments.sheet_cells import safe_cell
from experiments.table_amounts import FOUND_PREFIX
from experiments.table_rows import RECOVERY_PREFIX
from experiments.trials import Trial
from experiments.verification_plan import VerificationPlan
from models.cautions import DEFER

SHEET_FORMATS = (".csv", ".xlsx", ".pdf")
REFERENCES_PER_DAY = 2
BLANK_FROM_VESSELS = 4
"""With fewer vessels every position is needed, so the blank takes a run of its own."""

NOTED_COLUMNS = ("measured_temperature_c", "measured_pressure_mbar", "spike_lot",
                 "final_volume_by_weight_ml", "residue_appearance", "keeper_left_ml", "initials")
"""Columns for the eye of a reviewer; what is filled in is kept as a remark of the trial."""

Value = str | float | int


@dataclass(frozen=True)
class SheetRun:
    """One run to make, at its place in the drawn order; ``blank_vessel`` holds solvent only."""

    trial: str
    run_order: int
    setting: Setting
    reason: str
    blank_vessel: int | None
    expected_min: tuple[float, float] | None
    day: int | None = None


@dataclass(frozen=True)
class BenchSheet:
    """Runs in the order to make them, and what to mind; ``date`` is that of the last record.

    With ``in_amounts`` it asks for micrograms found, and has rows for the references.
    """

    title: str
    dossier_id: str
    job: EvaporationJob
    runs: tuple[SheetRun, ...]
    cautions: tuple[str, ...]
    date: str
    has_day: bool = False
    in_amounts: bool = False

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the trial table."""
        prefix = FOUND_PREFIX if self.in_amounts else RECOVERY_PREFIX
        return (
            "trial", "run_order", *(f.name for f in self.job.factors), "vessel", "run_time_min",
            "outcome", *(prefix + a.name for a in self.job.analytes), "remark",
            *(("day",) if self.has_day else ()),
        )

    @property
    def noted(self) -> tuple[str, ...]:
        """Further columns of the workbook, without those that this job has no use for."""
        keeper = self.job.sample.keeper is not None
        return tuple(c for c in NOTED_COLUMNS if keeper or c != "keeper_left_ml")

    @property
    def rows(self) -> tuple[tuple[Value, ...], ...]:
        """One row a vessel, settings filled in, results empty; the references come last."""
        samples = tuple(
            self._row(run, vessel)
            for run in self.runs for vessel in range(1, self.job.equipment.vessels + 1)
        )
        if not self.in_amounts:
            return samples
        place = self.columns.index("vessel")
        references = [[""] * len(self.columns) for _ in range(REFERENCES_PER_DAY)]
        for n, row in enumerate(references):
            row[place] = f"reference {n + 1}"
        return (*samples, *map(tuple, references))

    def _row(self, run: SheetRun, vessel: int) -> tuple[Value, ...]:
        settings = (run.setting[f.name] for f in self.job.factors)
        remark = "blank" if vessel == run.blank_vessel else ""
        empty = [""] * (2 + len(self.job.analytes))
        cells = (run.trial, run.run_order, *settings, vessel, *empty, remark)
        return (*cells, "") if self.has_day else cells


def trial_sheet(dossier: Dossier, ids: Sequence[str]) -> BenchSheet:
    """The sheet for pending trials.

    Parameters
    ----------
    ids : trials to run; their order is drawn at random from the job's seed, so a drift of
        the day does not follow the settings
    """
    trials = [dossier.trial(i) for i in ids]
    if not trials:
        raise EntryError("There is no trial to run.", "Propose trials first.")
    done = [t.id for t in trials if t.state != "pending"]
    if done:
        raise EntryError(f"Trial {done[0]} is not pending.", "Name trials still to be run.")
    job = dossier.job
    rng = np.random.default_rng([job.seed, 83, *(int(t.id[1:]) for t in trials)])
    order = rng.permutation(len(trials))
    first = int(rng.integers(job.equipment.vessels))
    runs = tuple(
        SheetRun(
            trial.id, place + 1, dict(trial.setting), trial.reason,
            _blank_vessel(job, first + place), _expected(trial),
        )
        for place, trial in enumerate(trials[i] for i in order)
    )
    return BenchSheet(job.title, dossier.id, job, runs, sheet_cautions(job),
                      dossier.events[-1].at[:10])


def verification_sheet(dossier: Dossier, made: VerificationPlan) -> BenchSheet:
    """The sheet for the runs of a verification plan, with a column for the day."""
    expected = (made.run_time_low, made.run_time_high)
    runs = tuple(
        SheetRun(run.id, i + 1, dict(made.setting), f"Verification, day {run.day}.",
                 run.blank_vessel, expected, run.day)
        for i, run in enumerate(sorted(made.runs, key=lambda r: (r.day, r.id)))
    )
    return BenchSheet(dossier.job.title, dossier.id, dossier.job, runs,
                      sheet_cautions(dossier.job), dossier.events[-1].at[:10], has_day=True)


def sheet_cautions(job: EvaporationJob) -> tuple[str, ...]:
    """Dangers of the substances, and the rules of any such run."""
    own = [f.sentence for f in job_cautions(job) if f.severity != "info"]
    return (
        *(text.replace(DEFER, "").strip() for text in own),
        "Full speed before vacuum; vent before slowing down.",
        job.trap_sentence,
        f"Keep the sample below {job.sample.max_temperature_c:g} °C. Ice is not dry.",
        f"The tool advises, the analyst decides. {DEFER}",
    )


def how_to_fill(sheet: BenchSheet) -> tuple[str, ...]:
    """How the sheet is used, in the order of the work."""
    return (
        "Make the runs in the order printed; it was drawn at random.",
        f"Spike every vessel but the blank: {_spikes(sheet.job)}. Spike {REFERENCES_PER_DAY} "
        "references a day the same way and do not evaporate them; the blank takes solvent only "
        "and goes through the run.",
        "Recovery = (found − blank) / mean found in the references, in percent. A blank above "
        "30 % of the spike makes the run unusable.",
        "After a boil-over clean chamber and rotor and run solvent alone in every position: what "
        "was thrown out is carried over into neighbours and later runs.",
        "A standard added before the evaporation hides losses: add a column corrected and write "
        "yes in it; such recoveries are kept and not learnt from.",
        *(("Enter micrograms found at final volume; recoveries are worked out when the sheet "
           "comes back. References without a trial count for every run of the sheet.",)
          if sheet.in_amounts else ()),
        "outcome is one of: finished, not dry, boil-over, aborted. Write "
        + ("<0.2 for an amount below 0.2 µg" if sheet.in_amounts else "<5 for a reading below 5 %")
        + ", leave empty what was not measured.",
        *(("Write the day of each run as YYYY-MM-DD.",) if sheet.has_day else ()),
    )


def _spikes(job: EvaporationJob) -> str:
    """How much of which analyte goes into a vessel."""
    amounts: dict[float, list[str]] = {}
    for analyte in job.analytes:
        amounts.setdefault(analyte.spike_ug, []).append(analyte.name)
    one = len(amounts) == 1 and len(job.analytes) > 1
    said = "; ".join(f"{amount:g} µg of {'each analyte' if one else ', '.join(names)}"
                     for amount, names in amounts.items())
    assumed = any("spike_ug" in a.assumed for a in job.analytes)
    return f"{said} (assumed where the job does not say it)" if assumed else said


def write_sheet(sheet: BenchSheet, path: Path) -> None:
    """Write a sheet; the ending of ``path`` chooses the format."""
    write_whole(path, render_sheet(sheet, path.suffix.lower()))


def render_sheet(sheet: BenchSheet, suffix: str) -> bytes:
    """The sheet as bytes of that format."""
    if suffix == ".csv":
        text = csv_text(sheet)  # spreadsheets take other than plain letters for UTF-8 by a mark
        return text.encode("utf-8" if text.isascii() else "utf-8-sig")
    if suffix == ".xlsx":
        from experiments.report.workbook import sheet_workbook

        return sheet_workbook(sheet)
    if suffix == ".pdf":
        from experiments.report.bench_paper import sheet_pdf

        return sheet_pdf(sheet)
    raise EntryError(f"A bench sheet cannot be written as {suffix or 'that'!r}.",
                     f"Use one of: {', '.join(SHEET_FORMATS)}.")


def csv_text(sheet: BenchSheet) -> str:
    """The sheet as CSV; no text in it can become a live formula."""
    import csv
    import io

    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([safe_cell(c) for c in sheet.columns])
    for row in sheet.rows:
        writer.writerow([f"{c:.12g}" if isinstance(c, float) else safe_cell(c) for c in row])
    return buffer.getvalue()


def _blank_vessel(job: EvaporationJob, place: int) -> int | None:
    """The position of the blank; it goes round from run to run."""
    vessels = job.equipment.vessels
    return place % vessels + 1 if vessels >= BLANK_FROM_VESSELS else None


def _expected(trial: Trial) -> tuple[float, float] | None:
    if not trial.run_time_min:
        return None
    return trial.run_time_min["low"], trial.run_time_min["high"]
