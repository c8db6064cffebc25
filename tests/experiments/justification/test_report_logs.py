"""The logs of the runs in the report: lines, moments, words and their way into the files."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from html import escape
from types import SimpleNamespace

import numpy as np
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments import run_logs, service
from experiments.dossier import Dossier
from experiments.job_file import parse
from experiments.log_columns import proposed
from experiments.log_file import read_log_file
from experiments.report import paper, web
from experiments.report.document import Document, Figure, Paragraph, Table
from experiments.report.log_chart import BUCKETS, logs_chart, span_of, thinned
from experiments.report.logs_part import AT_MOST, drawn_logs, log_words, logs
from experiments.report.look import svg
from experiments.storage.memory import MemoryStore
from experiments.users import User
from tests.experiments.conftest import mapping
from tests.experiments.instrument_logs import HEADERS, as_text, run_columns
from tests.fuzzing import examples

SETTING = {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0, "end_pressure_mbar": 40.0}


def with_logs(*columns: np.ndarray) -> Dossier:
    """A dossier whose trials have these logs, one of them removed again."""
    job = parse(mapping(), chemistry=False)
    session = service.Session(MemoryStore(), User("Ada"))
    service.create(session, job, "bench1")
    for n, held in enumerate(columns, start=1):
        service.record(session, "bench1", setting=SETTING, run_time_min=40.0 + n)
        table = read_log_file(as_text(held, HEADERS[: held.shape[1]]))
        run_logs.attach(session, "bench1", f"T{n}", table, f"run <b>{n}</b>.csv",
                        proposed(table.headers, table.first()).choices, 0.5)
    return service.load(session, "bench1")


@pytest.fixture(scope="module")
def dossier() -> Dossier:
    return with_logs(run_columns(), run_columns(minutes=60.0, stop_min=52.0, dry_min=48.0),
                     run_columns()[:, :2], run_columns(wall_c=50.0))


@pytest.fixture(scope="module")
def section(dossier):
    return logs(SimpleNamespace(dossier=dossier))


@pytest.fixture(scope="module")
def document(section) -> Document:
    """The part by itself: the records that its table leads to are in another."""
    *others, table = section.blocks
    rows = tuple(tuple(replace(c, record=None) for c in row) for row in table.rows)
    alone = replace(section, blocks=(*others, replace(table, rows=rows)))
    return Document("A title", "Logs", "", "2025-03-03", (), (alone,), "foot",
                    has_contents=False)


def test_without_a_log_there_is_no_such_part() -> None:
    assert logs(SimpleNamespace(dossier=with_logs())) is None


def test_a_log_that_no_longer_counts_is_not_drawn() -> None:
    made = with_logs(run_columns(), run_columns())
    made.note_event("trace removed", {"trial": "T1", "reason": "wrong run"})
    assert [d.trial for d in drawn_logs(made)] == ["T2"]


def test_every_log_is_drawn_three_abreast_on_one_span_of_time(section) -> None:
    first, second = [b for b in section.blocks if isinstance(b, Figure)]
    assert "T1, T2 and T3" in first.title
    assert "in T4;" in second.title
    for figure in (first, second):
        spans = set(re.findall(
            r'"t", "scale": \{"domain": (\[[^\]]*\])', json.dumps(figure.chart)))
        assert spans == {"[-0.5, 59.416666666666664]"}


def test_words_tell_what_the_lines_show(dossier, section) -> None:
    """The figures are those of the log as it was made."""
    whole, _, bare, _ = drawn_logs(dossier)
    words = log_words(whole)
    assert words.startswith("T1, −0.5 to 44.4 min from lid-close: pressure 40.0 to 1010.0 mbar, "
                            "wall 45.0 to 45.0 °C, coolant in −20")
    assert re.search(r"boiling begins at [45]\.\d min, end point at 29\.\d min, run ends at 39\.5",
                     words)
    assert "coolant" not in log_words(bare)
    figure = next(b for b in section.blocks if isinstance(b, Figure))
    assert words in figure.description


def test_the_table_says_what_the_log_tells_and_what_was_noted(dossier, section) -> None:
    (table,) = [b for b in section.blocks if isinstance(b, Table)]
    rows = [[c.text for c in row] for row in table.rows]
    assert [r[0] for r in rows] == ["T1", "T2", "T3", "T4"]
    assert rows[0][1:3] == ["run <b>1</b>.csv", "540"]
    assert [r[-1] for r in rows] == ["41.0", "42.0", "43.0", "44.0"]
    assert rows[2][4] == "–", "without the coolant there is no end point"
    kinds = {e.seq: e.kind for e in dossier.events}
    assert {kinds[row[0].record] for row in table.rows} == {"trace attached"}


def test_what_a_logger_did_not_write_is_said_in_the_figure(dossier) -> None:
    shown = drawn_logs(dossier)[:3]
    drawn = svg(logs_chart(shown, span_of(shown)))
    assert drawn.count(">not logged<") == 3, "wall, coolant and its warming of T3"
    for text in ("pressure, mbar", "coolant, °C", "min from lid-close", "boiling begins",
                 "end point", "run ends", "T1", "T2", "T3"):
        assert text in drawn
    assert "<image" not in drawn


def test_the_page_holds_the_figure_as_lines_with_its_words(document, section) -> None:
    page = web.render_html(document)
    figure = next(b for b in section.blocks if isinstance(b, Figure))
    assert f'aria-label="{escape(figure.description)}"' in page
    assert page.count("<svg") == 2
    assert "run &lt;b&gt;1&lt;/b&gt;.csv" in page
    assert "<b>1</b>" not in page


def test_the_paper_holds_the_figure_as_lines_with_its_words(document, section) -> None:
    reader = pypdf.PdfReader(io.BytesIO(paper.render_pdf(document)))
    text = " ".join(p.extract_text() for p in reader.pages)
    assert "boiling begins" in text, "the words of the chart are text, not a picture of it"
    assert not any(len(p.images) for p in reader.pages)
    figure = next(b for b in section.blocks if isinstance(b, Figure))
    told = [o.get_object().get("/Alt") for o in objects(reader)]
    assert figure.description in told


def objects(reader: pypdf.PdfReader):
    """All dictionaries of the file."""
    for number in range(1, len(reader.xref_objStm) + sum(map(len, reader.xref.values())) + 1):
        try:
            found = reader.get_object(number)
        except (KeyError, pypdf.errors.PdfReadError):
            continue
        if isinstance(found, dict):
            yield found


def test_more_logs_than_are_drawn_are_named() -> None:
    short = run_columns(every_s=60.0)
    made = logs(SimpleNamespace(dossier=with_logs(*[short] * (AT_MOST + 2))))
    assert sum(isinstance(b, Figure) for b in made.blocks) == AT_MOST // 3
    assert any("2 more logs are not drawn: T13 and T14." in b.text
               for b in made.blocks if isinstance(b, Paragraph))
    (table,) = [b for b in made.blocks if isinstance(b, Table)]
    assert len(table.rows) == AT_MOST + 2


readings = st.lists(st.one_of(st.floats(-1e3, 1e3), st.just(float("nan"))), min_size=1,
                    max_size=3000)


@settings(deadline=None, max_examples=examples(60))
@given(readings)
def test_thinning_keeps_ends_extremes_and_gaps(values) -> None:
    held = np.array(values)
    time = np.arange(float(len(held)))
    found = thinned(time, held)
    assert len(found) <= max(2 * BUCKETS, 3 * BUCKETS + 2)
    assert [t for t, _ in found] == sorted({t for t, _ in found})
    assert (found[0][0], found[-1][0]) == (0.0, len(held) - 1.0)
    told = [v for _, v in found if v is not None]
    if told:
        assert min(told) == pytest.approx(np.nanmin(held), rel=1e-4)
        assert max(told) == pytest.approx(np.nanmax(held), rel=1e-4)
    assert any(v is None for _, v in found) == bool(np.isnan(held).any())
