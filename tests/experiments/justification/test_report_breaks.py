"""Where a page or a line of the report ends, looked at on small documents."""

from __future__ import annotations

import io

import docx
import pytest

from experiments.report import paper, web, word
from experiments.report.document import (
    Bullets,
    Cell,
    Column,
    Document,
    Facts,
    Paragraph,
    Section,
    Table,
)
from tests.experiments.justification.test_long_report import words_of

FEWEST = 3
"""Rows below the head of a table at the foot of a page (common practice, no source)."""


def document(*blocks):
    return Document("Title", "Kind", "Subtitle", "2025-03-04", (("fact", "told"),),
                    (Section("one", "One", blocks),), "foot")


def long_table():
    return Table("Long", (Column("name", weight=1), Column("value", "right")),
                 tuple((Cell("row"), Cell(str(i))) for i in range(25)))


def made(blocks, tmp_path):
    path = tmp_path / "made.pdf"
    path.write_bytes(paper.render_pdf(document(*blocks)))
    return [words for _, _, words in words_of(path)]


@pytest.mark.parametrize("lines", range(32, 36))
def test_no_single_row_of_a_long_table_is_left_at_the_foot_of_a_page(tmp_path, lines):
    """The first of 25 analytes once stood alone below the summary."""
    pages = made([*(Paragraph("Filling.") for _ in range(lines)), long_table()], tmp_path)
    begun = next(words for words in pages if any(w.text == "Long" for w in words))
    assert sum(w.text == "row" for w in begun) >= FEWEST


@pytest.mark.parametrize("filling", range(22, 32, 2))
def test_no_line_ends_inside_a_unit(tmp_path, filling):
    """A ramp rate once went on in the next line after "mbar/"."""
    (words,) = made([Paragraph("mmmm " * 10 + "i" * filling + " 200 mbar/min then")], tmp_path)
    assert not any(w.text.endswith("mbar/") for w in words)


def test_numbers_of_the_page_keep_their_units():
    """At the width of a telephone "120 mbar" once stood in two lines."""
    page = web.render_html(document(
        Paragraph("Hold 120 mbar for 3 min & stop."), Bullets(("ramp 20 mbar/min",)),
        Facts((("end pressure", "120 mbar"),)),
        Table("Sheet of 2 min", (Column("step"),), ((Cell("below 45 °C"),),), note="within 5 %")))
    for kept in ("120 mbar for", "3 min &amp; stop", "20 mbar/min", "120 mbar<", "45 °C", "5 %"):
        assert kept.replace(" ", "\u00a0", 1) in page
    assert 'aria-label="Sheet of 2 min"' in page


def test_a_row_of_the_word_report_is_not_split_and_the_first_ones_stay_together():
    """ECMA-376 part 1: cantSplit (17.4.6) and keepNext (17.3.1.15); numbers from memory."""
    file = docx.Document(io.BytesIO(word.render_docx(document(long_table()))))
    table = next(t for t in file.tables if len(t.rows) > 25)
    assert all("w:cantSplit" in row._tr.xml for row in table.rows)
    kept = [all(c.paragraphs[0].paragraph_format.keep_with_next for c in row.cells)
            for row in table.rows]
    assert kept == [True] * 3 + [False] * 23
    (title,) = [p for p in file.paragraphs if p.text == "Long"]
    assert title.paragraph_format.keep_with_next
