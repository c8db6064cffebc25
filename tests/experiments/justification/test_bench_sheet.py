"""The bench sheet: what it prints comes back, and nothing in it is a live formula."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import openpyxl
import pytest

from experiments import Dossier
from experiments.acceptance import default_criteria
from experiments.bench_sheet import csv_text, render_sheet, trial_sheet, verification_sheet
from experiments.entries import EntryError
from experiments.job import Factor, Keeper
from experiments.reference_spike import recoveries
from experiments.report.bench_paper import sheet_document
from experiments.report.method_sheet import steps
from experiments.results_table import read_table
from experiments.verification_entry import note_runs, read_runs_table
from experiments.verification_plan import plan
from experiments.verification_runs import recorded_runs


@pytest.fixture
def dossier(job):
    made = Dossier.start(job, clock=lambda: "2025-03-03T09:00:00.000+00:00", dossier_id="sheet")
    for i, degrees in enumerate((38.0, 45.0, 52.0), start=1):
        made.note_event("proposed", {
            "trial": f"T{i}", "reason": "=HYPERLINK(\"x\")", "setting": {
                "set_temperature_c": degrees, "ramp_rate_mbar_per_min": 50.0,
                "end_pressure_mbar": 60.0}, "run_time_min": {"mean": 40, "low": 35, "high": 46},
        })
    return made


@pytest.fixture
def sheet(dossier):
    return trial_sheet(dossier, ["T1", "T2", "T3"])


def test_the_columns_are_those_of_the_trial_table(sheet):
    """The contract's columns, in its order."""
    assert sheet.columns == (
        "trial", "run_order", "set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar",
        "vessel", "run_time_min", "outcome", "recovery_percent:carvone",
        "recovery_percent:dibutyl phthalate", "recovery_percent:limonene", "remark",
    )


def test_a_sheet_comes_back_whatever_digits_its_settings_have(dossier):
    dossier.note_event("entered", {
        "trial": "T4", "reason": "", "origin": "today", "setting": {
            "set_temperature_c": 40.12345, "ramp_rate_mbar_per_min": 123.4567,
            "end_pressure_mbar": 60.0}})
    text = csv_text(trial_sheet(dossier, ["T4"])).replace(",1,,,", ",1,41,,", 1)
    table = read_table(text, dossier.job, dossier.trials)
    assert table.rejected == ()
    assert text.splitlines()[1].startswith("T4,1,40.12345,123.4567,60,1,41,")


def test_the_paper_tells_what_goes_into_each_vessel_of_a_run(job):
    """Keeper and end volume as that run has them, where they are varied; spikes as the job has."""
    sample = replace(job.sample, keeper=Keeper("n-dodecane", 0.2), end_volume_ml=0.5,
                     end_volume_control="cold tip")
    keepers = Factor("keeper", 0, 0, choices=("n-dodecane", "n-tetradecane"))
    analytes = (replace(job.analytes[0], spike_ug=2.0), *job.analytes[1:])
    varied = replace(job, sample=sample, factors=(*job.factors, keepers), analytes=analytes)
    made = Dossier.start(varied, dossier_id="s")
    made.note_event("proposed", {"trial": "T1", "reason": "", "setting": {
        "set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 60.0,
        "keeper": "n-tetradecane"}})
    use, run = sheet_document(trial_sheet(made, ["T1"])).sections
    assert ("each vessel", "40 mL of n-hexane with 0.2 mL of n-tetradecane as keeper, down to "
                           "0.5 mL (cold tip)") in run.blocks[0].rows
    at_setting = varied.sample_at(made.trials[0].setting)
    assert any(s.startswith("Add 0.2 mL n-tetradecane") for s in steps(varied, at_setting))
    assert "2 µg of carvone; 10 µg of dibutyl phthalate, limonene. Spike" in use.blocks[1].items[1]


def test_no_analyte_of_many_has_a_table_of_its_own(job):
    """The last of 25 analytes once filled half a page alone."""
    many = replace(job, analytes=tuple(replace(job.analytes[0], name=f"a{i}") for i in range(25)))
    made = Dossier.start(many, dossier_id="s")
    made.note_event("proposed", {"trial": "T1", "reason": "", "setting": {
        f.name: f.low for f in many.factors}})
    blocks = sheet_document(trial_sheet(made, ["T1"])).sections[-1].blocks
    tables = [b for b in blocks if getattr(b, "size", "") == "fields"]
    assert [len(t.columns) - 1 for t in tables] == [5] * 5


def test_the_order_is_drawn_from_the_seed(dossier, job):
    orders = set()
    for seed in range(12):
        made = Dossier.start(replace(job, seed=seed), dossier_id="s")
        for event in dossier.events[1:]:
            made.note_event(event.kind, event.payload)
        sheet = trial_sheet(made, ["T1", "T2", "T3"])
        assert [r.run_order for r in sheet.runs] == [1, 2, 3]
        orders.add(tuple(r.trial for r in sheet.runs))
        assert sheet.runs == trial_sheet(made, ["T1", "T2", "T3"]).runs
    assert len(orders) > 2


def test_the_blank_goes_round(sheet):
    assert len({r.blank_vessel for r in sheet.runs}) == 3
    blanks = [row for row in sheet.rows if row[-1] == "blank"]
    assert len(blanks) == 3


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_filled_sheet_comes_back(dossier, sheet, suffix):
    data = filled(render_sheet(sheet, suffix), suffix)
    read = read_table(data, dossier.job, dossier.trials)
    assert not read.rejected
    assert {t.trial for t in read.trials} == {"T1", "T2", "T3"}
    for trial in read.trials:
        blank = next(r.blank_vessel for r in sheet.runs if r.trial == trial.trial)
        values = trial.recovery_percent["carvone"]
        assert values[blank - 1] is None
        assert sum(v is not None for v in values) == 5
        assert trial.run_time_min == 41.5


def filled(data: bytes, suffix: str, values=(90.5, 88, "<5")) -> bytes:
    """The sheet as an analyst would give it back: everything but the blanks."""
    if suffix == ".csv":
        rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"))))
        for row in rows[1:]:
            row[6], row[7] = "41.5", "finished"
            if row[11] != "blank":
                row[8:11] = map(str, values)
        out = io.StringIO()
        csv.writer(out).writerows(rows)
        return out.getvalue().encode()
    book = openpyxl.load_workbook(io.BytesIO(data))
    page = book["Trials"]
    for row in page.iter_rows(min_row=2):
        row[6].value, row[7].value = 41.5, "finished"
        if row[11].value != "blank":
            row[8].value, row[9].value, row[10].value = values
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def test_no_text_of_a_user_becomes_a_formula(job):
    names = ["=1+1", "+cmd", "-2", "@SUM(A1)"]
    analytes = tuple(replace(job.analytes[0], name=n) for n in names)
    made = Dossier.start(replace(job, title="=cmd|' /C calc'!A0", analytes=analytes,
                                 factors=job.factors), dossier_id="=1+1")
    made.note_event("proposed", {"trial": "T1", "reason": "=2+2", "setting": {
        "set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 60.0}})
    sheet = trial_sheet(made, ["T1"])
    book = openpyxl.load_workbook(io.BytesIO(render_sheet(sheet, ".xlsx")))
    cells = [c for page in book for row in page.iter_rows() for c in row if c.value is not None]
    assert not [c.value for c in cells if c.data_type == "f"]
    assert not [c.value for c in cells if isinstance(c.value, str) and c.value[0] in "=+-@"]
    for row in csv.reader(io.StringIO(csv_text(sheet))):
        assert not [c for c in row if c and c[0] in "=+-@"]


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".pdf"])
def test_the_same_sheet_gives_the_same_bytes(sheet, suffix):
    assert render_sheet(sheet, suffix) == render_sheet(sheet, suffix)


def test_a_sheet_of_nothing_or_of_recorded_trials_is_refused(dossier):
    with pytest.raises(EntryError, match="no trial to run"):
        trial_sheet(dossier, [])
    dossier.record("T1", run_time_min=40.0)
    with pytest.raises(EntryError, match="T1 is not pending"):
        trial_sheet(dossier, ["T1"])


def test_a_verification_sheet_asks_for_the_day_and_comes_back(dossier, fit, set_point):
    made = plan(fit, set_point, default_criteria(fit.job, runs=6, days=3))
    sheet = verification_sheet(dossier, made)
    assert sheet.columns[-1] == "day"
    rows = list(csv.reader(io.StringIO(csv_text(sheet))))
    for row in rows[1:]:
        row[6], row[7], row[12] = "40", "finished", f"2025-04-{(int(row[1]) + 1) // 2:02d}"
        if row[11] != "blank":
            row[8:11] = ["91", "94", "57"]
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    table = read_runs_table(dossier, made, out.getvalue())
    assert note_runs(dossier, made, table) == ["V1", "V4", "V2", "V5", "V3", "V6"]
    runs = recorded_runs(dossier, dict(set_point))
    assert len({r.result.day for r in runs}) == 3
    again = read_runs_table(dossier, made, out.getvalue())
    assert len(again.rejected) == 6
    assert all("already recorded" in r.reason for r in again.rejected)


def test_recovery_against_the_reference_by_hand():
    """(18.4 - 0.4) / 20 = 90 %; the references read 19 and 21 ug."""
    found = recoveries([18.4, None, 20.4], [19.0, 21.0], spiked_ug=20.0, blank_ug=0.4)
    assert found.percent == (pytest.approx(90.0), None, pytest.approx(100.0))
    assert found.reference_rsd_percent == pytest.approx(100 * 2**0.5 / 20)
    assert found.blank_percent == pytest.approx(2.0)
    assert not found.label
    assert not found.remarks


def test_a_dirty_blank_blocks():
    assert recoveries([10.0], [20.0], 20.0, blank_ug=6.0).blank_percent == pytest.approx(30.0)
    with pytest.raises(EntryError, match="31 % of the spike"):
        recoveries([10.0], [20.0], 20.0, blank_ug=6.2)


def test_a_standard_added_before_is_labelled():
    found = recoveries([19.0], [20.0], 20.0, corrected=True)
    assert found.label == "corrected"
    assert "hidden" in found.remarks[0]


@pytest.mark.parametrize(
    ("found", "reference", "spiked"),
    [([-1.0], [20.0], 20.0), ([1.0], [], 20.0), ([1.0], [0.0], 20.0), ([1.0], [20.0], 0.0),
     ([float("nan")], [20.0], 20.0)],
)
def test_impossible_amounts_are_refused_with_a_cure(found, reference, spiked):
    with pytest.raises(EntryError) as caught:
        recoveries(found, reference, spiked)
    assert caught.value.cure


def test_the_workbook_asks_for_what_a_reviewer_wants_to_know_later(dossier, sheet):
    """Measured values, lot, final volume, residue, initials; they come back as remarks."""
    book = openpyxl.load_workbook(io.BytesIO(render_sheet(sheet, ".xlsx")))
    page = book["Trials"]
    heads = [c.value for c in page[1]]
    assert heads[: len(sheet.columns)] == list(sheet.columns)
    page.cell(2, heads.index("run_time_min") + 1).value = 41.5
    page.cell(2, heads.index("measured_temperature_c") + 1).value = 39.2
    page.cell(2, heads.index("spike_lot") + 1).value = "L-0107"
    stored = io.BytesIO()
    book.save(stored)
    read = read_table(stored.getvalue(), dossier.job, dossier.trials)
    found = next(t for t in read.trials if t.run_time_min)
    assert "measured_temperature_c: 39.2" in found.remark
    assert "spike_lot: L-0107" in found.remark


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_sheet_of_amounts_comes_back_as_recoveries(dossier, sheet, suffix):
    wanted = replace(sheet, in_amounts=True)
    assert "found_ug:carvone" in wanted.columns
    assert [r[wanted.columns.index("vessel")] for r in wanted.rows][-2:] == [
        "reference 1", "reference 2"]
    data = filled(render_sheet(wanted, suffix), suffix, (9.0, "", ""))
    read = read_table(data, dossier.job, dossier.trials)
    assert not read.rejected
    for trial in read.trials:
        values = [v for v in trial.recovery_percent["carvone"] if v is not None]
        assert values == [100.0] * len(values)
        assert len(values) == 5
