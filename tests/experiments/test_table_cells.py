"""Workbooks and other bytes: nothing trusted, nothing unpacked without bound."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.results_table import read_table
from tests.fuzzing import examples

A = "recovery_percent:diethyl phthalate"


@pytest.fixture
def read(dossier):
    return lambda data: read_table(data, dossier.job, dossier.trials)


def workbook(*rows, title="Sheet", before=(), **formats) -> bytes:
    book = openpyxl.Workbook()
    for name in before:
        book.create_sheet(name, 0).append(["what the other sheet says"])
    sheet = book[book.sheetnames[-1]]
    sheet.title = title
    for row in rows:
        sheet.append(row)
    for cell, form in formats.items():
        sheet[cell].number_format = form
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


HEADER = ["trial", "run_time_min", "outcome", A, "day"]


def test_a_workbook_is_read_with_its_numbers_and_dates(read):
    table = read(workbook(HEADER, ["T1", 41.5, "finished", 88, date(2026, 3, 2)],
                          ["T2", 40, None, "<5", datetime(2026, 3, 3, 9, 30)],  # noqa: DTZ001
                          before=["Notes"]))
    assert table.rejected == ()
    first, second = table.trials
    assert (first.run_time_min, first.day) == (41.5, "2026-03-02")
    assert first.recovery_percent == {"diethyl phthalate": 88.0}
    assert (second.recovery_percent, second.day) == ({"diethyl phthalate": "<5"}, "2026-03-03")


@pytest.mark.parametrize(("value", "form", "said"), [
    ("=40+1", "General", "formula"),
    (0.881, "0.0%", "percentage"),
    (date(2026, 5, 1), "DD.MM.YYYY", "date"),
    (True, "General", "logical"),
    ("#DIV/0!", "General", "error"),
    ("8\x7f8", "General", "control characters"),
])
def test_cells_that_cannot_be_trusted_are_refused(read, value, form, said):
    table = read(workbook(HEADER, ["T1", 41.5, "finished", value, ""], D2=form))
    ((row, reason, cure),) = [(r.row, r.reason, r.cure) for r in table.rejected]
    assert row == 2
    assert said in reason
    assert A in reason
    assert cure


def test_a_formula_in_a_column_that_is_not_read_does_no_harm(read):
    table = read(workbook([*HEADER, "balance"], ["T1", 41.5, "finished", 88, "", "=1+1"]))
    assert table.rejected == ()
    assert table.trials[0].remark == ""
    assert table.notes == ("T1: What stands in the column 'balance' is not kept, because it holds "
                           "a formula.",)


def test_a_workbook_that_unpacks_to_too_much_is_refused_unread(read):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 70_000_000)
    data = buffer.getvalue()
    assert len(data) < 100_000
    assert "unpacks" in read(data).rejected[0].reason


def test_a_workbook_with_entities_is_refused(read):
    source = io.BytesIO(workbook(HEADER, ["T1", 41.5, "finished", 88, ""]))
    out = io.BytesIO()
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            body = old.read(name)
            if name == "xl/workbook.xml":
                body = b'<!DOCTYPE w [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>' + body
            new.writestr(name, body)
    assert "document type" in read(out.getvalue()).rejected[0].reason


@pytest.mark.parametrize("data", [
    b"PK\x03\x04 broken", b"\x00\x01\x02\x03",
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"\xff\xfe\x00",
    b"trial,run_time_min\nT1,4\x001\n", b"x" * 5_000_001,
    b"trial," + b"c," * 500 + b"run_time_min\n", b"trial,run_time_min\n" + b"T1,41\n" * 6000,
    b'trial,run_time_min\n"' + b"y" * 200_000,
])
def test_other_bytes_are_one_sentence_with_a_cure(read, data):
    (fault,) = read(data).rejected
    assert fault.row == 0
    assert fault.reason
    assert fault.cure


SHARED = [HealthCheck.function_scoped_fixture]  # the job is frozen
cells = st.one_of(
    st.sampled_from(["", "T1", "T2", "1", "2", "41.5", "41,5", "<5", "finished", "boil-over",
                     "=1+1", "nan", "1,234", "-1", "88", "1e400", "<", "%"]),
    st.text(max_size=6),
)
names = ["trial", "run_order", "vessel", "run_time_min", "outcome", "remark", "day", A,
         "recovery_percent:1,2-dichlorobenzene", "set_temperature_c", "ramp_rate_mbar_per_min",
         "end_pressure_mbar", "other"]


@settings(max_examples=examples(300), deadline=None, suppress_health_check=SHARED)
@given(header=st.lists(st.sampled_from(names), min_size=1, max_size=8),
       rows=st.lists(st.lists(cells, max_size=9), max_size=6),
       delimiter=st.sampled_from([",", ";", "\t"]))
def test_any_table_is_taken_or_refused_in_words(job, header, rows, delimiter):
    quoted = [[f'"{c}"' if delimiter in c else c for c in row] for row in [header, *rows]]
    table = read_table("\n".join(delimiter.join(row) for row in quoted), job)
    assert table.is_clean != bool(table.rejected)
    assert all(r.reason.strip() and r.cure.strip() for r in table.rejected)


@settings(max_examples=examples(150), deadline=None, suppress_health_check=SHARED)
@given(data=st.binary(max_size=400))
def test_any_bytes_are_taken_or_refused_in_words(job, data):
    table = read_table(data, job)
    assert table.is_clean != bool(table.rejected)


@settings(max_examples=examples(60), deadline=None, suppress_health_check=SHARED)
@given(place=st.integers(0, 5000), byte=st.integers(0, 255))
def test_a_workbook_with_one_wrong_byte_is_taken_or_refused_in_words(job, place, byte):
    data = bytearray(WORKBOOK)
    data[place % len(data)] = byte
    table = read_table(bytes(data), job)
    assert table.is_clean != bool(table.rejected)


WORKBOOK = workbook(HEADER, ["T1", 41.5, "finished", 88, ""])
