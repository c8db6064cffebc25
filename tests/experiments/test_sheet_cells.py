"""User text never becomes a live formula in a spreadsheet, whatever it is and wherever it stands.

What starts a formula: OWASP, "CSV Injection" (=, +, -, @, tab, carriage return, line feed, and the
wide forms of the first four; from memory).
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import openpyxl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.bench_sheet import csv_text, trial_sheet
from experiments.report.workbook import sheet_workbook
from experiments.sheet_cells import safe_cell
from experiments.trials_csv import trials_csv
from tests.fuzzing import examples

STARTS = "=+-@\t\r\n＝＋－＠"
PRINTABLE = st.characters(exclude_categories=("Cc", "Cs", "Co", "Cn"))
TEXT = st.builds(
    lambda start, rest: start + rest, st.sampled_from(["", *STARTS.replace("\r", "")]),
    st.text(PRINTABLE, max_size=20) | st.sampled_from(["cmd|' /C calc'!A0", "1+1", "SUM(A1:A9)"]))
NO_FIXTURE_FAULT = settings(deadline=None, max_examples=examples(40),
                            suppress_health_check=[HealthCheck.function_scoped_fixture])


def harmless(cell: object) -> bool:
    return not isinstance(cell, str) or not cell.startswith(tuple(STARTS))


def cells_of(text: str) -> list[str]:
    return [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]


@settings(max_examples=examples(300))
@given(st.sampled_from(STARTS), st.text(max_size=20))
def test_no_text_begins_like_a_formula(start: str, rest: str) -> None:
    assert harmless(safe_cell(start + rest))
    assert safe_cell(start + rest)[1:] == start + rest, "nothing is lost"


@given(st.integers() | st.floats(allow_nan=False) | st.none())
def test_numbers_stay_numbers(value) -> None:
    assert safe_cell(value) is value


@NO_FIXTURE_FAULT
@given(remark=TEXT, day=TEXT)
def test_remarks_and_days_of_the_trial_table_are_no_formulas(dossier, remark, day) -> None:
    made = dossier.continued()
    made.record("T1", run_time_min=41.5, remark=remark, day=day)
    assert all(map(harmless, cells_of(trials_csv(made))))


@NO_FIXTURE_FAULT
@given(name=TEXT, caution=TEXT)
def test_a_bench_sheet_holds_no_formula_in_text_and_workbook(dossier, name, caution) -> None:
    sheet = trial_sheet(dossier, ["T1"])
    analytes = tuple(replace(a, name=f"{name}{i}") for i, a in enumerate(sheet.job.analytes))
    marred = replace(sheet, title=name, cautions=(caution, name),
                     job=replace(sheet.job, analytes=analytes))
    assert all(map(harmless, cells_of(csv_text(marred))))
    book = openpyxl.load_workbook(io.BytesIO(sheet_workbook(marred)))
    for page in book.worksheets:
        for row in page.iter_rows():
            for cell in row:
                assert cell.data_type != "f"
                assert harmless(cell.value)


def test_a_negative_setting_stays_a_number_in_the_sheet(dossier, setting) -> None:
    dossier.note_event("proposed", {
        "trial": "T3", "setting": {**setting, "end_pressure_mbar": -5.0}, "reason": "",
        "run_time_min": {}, "recovery_percent": {}})
    cells = cells_of(csv_text(trial_sheet(dossier, ["T3"])))
    assert "-5" in cells
