"""The table results are typed into: its columns, empty rows, heads and text."""

from __future__ import annotations

from dataclasses import replace

import pytest

from experiments.bench_sheet import trial_sheet
from experiments.dossier import Dossier
from experiments.example_dossiers import names
from experiments.job_file import parse
from experiments.results_table import read_table
from experiments.table_amounts import CONTROL
from experiments.trials import Trial
from wizard import editors


@pytest.fixture(scope="module")
def job():
    return parse(names()[0].job)


@pytest.fixture
def trial(job):
    return Trial("T1", {f.name: f.low for f in job.factors})


@pytest.mark.parametrize(("kind", "fixed", "rows"), [
    ("vessel", 2, 12), ("trial", 1, 1), ("amounts", 2, 15)])
def test_empty_rows_fit_their_columns_and_heads(job, trial, kind, fixed, rows):
    columns = editors.results_columns(job, kind)
    blank = editors.results_rows(job, [trial], kind)
    heads = editors.results_heads(job, kind)
    assert len(blank) == rows
    assert {len(row) for row in blank} == {len(columns)} == {len(heads.texts)}
    assert heads.fixed == fixed
    assert all(row[0] == "T1" and not any(row[fixed:]) for row in blank)
    assert heads.texts[columns.index("run_time_min")] == "run time, min"


def test_what_is_typed_as_amounts_is_understood(job, trial):
    """9 of 10 µg found, references at 10 µg, nothing in the blank: 90 %."""
    columns = editors.results_columns(job, "amounts")
    rows = editors.results_rows(job, [trial], "amounts")
    place = columns.index(f"found_ug:{job.analytes[0].name}")
    rows[0][columns.index("run_time_min")] = "31,5"
    for row in rows:
        control = CONTROL.fullmatch(row[1])
        row[place] = "9,0" if control is None else {"blank": "0", "reference": "10"}[control[1]]
    table = read_table(editors.as_csv(columns, rows), job, [trial])
    assert table.rejected == ()
    assert table.trials[0].run_time_min == 31.5
    assert table.trials[0].recovery_percent[job.analytes[0].name] == [90.0] * 12


def test_two_tabs_that_type_in_one_table_keep_both_cells():
    seen = [["T1", "", "", ""]]
    assert editors.merged(seen, [["T1", "24,0", "", "1"]], [["T1", "", "92", "2"]]) == [
        ["T1", "24,0", "92", "1"]], "what both typed is as it stands here"
    assert editors.merged(seen, seen, seen) == [["T1", "", "", ""]]


def test_rows_are_named_as_the_reader_sees_them(job, trial):
    for kind, said in (("vessel", ["T1, vessel 1", "T1, vessel 2"]), ("trial", ["T1"]),
                        ("amounts", ["T1, vessel 1", "T1, vessel 2"])):
        columns = editors.results_columns(job, kind)
        found = editors.row_names(
            editors.as_csv(columns, editors.results_rows(job, [trial], kind)))
        assert found[: len(said)] == said
    assert "T1, blank" in found


def test_the_blanks_of_the_bench_sheet_are_named(job):
    dossier = Dossier.start(job)
    for temperature in (40.0, 45.0):
        dossier.enter_pending({f.name: f.low for f in job.factors}
                              | {"set_temperature_c": temperature}, "proposed", "a reason")
    sheet = trial_sheet(dossier, ["T1", "T2"])
    blanks = {run.trial: run.blank_vessel for run in sheet.runs}
    assert editors.blank_hint(sheet).startswith(
        "The bench sheet of these trials has its blank in "
        f"vessel {blanks['T1']} of T1 and vessel {blanks['T2']} of T2; ")
    few = replace(sheet, runs=tuple(replace(r, blank_vessel=None) for r in sheet.runs))
    assert editors.blank_hint(few) == ""
