"""Where a page or a line of the report ends, looked at on small documents."""

from __future__ import annotations

import pytest

from experiments.report import paper
from experiments.report.document import Cell, Column, Document, Paragraph, Section, Table
from tests.experiments.justification.test_long_report import words_of

FEWEST = 3
"""Rows below the head of a table at the foot of a page (common practice, no source)."""


def made(blocks, tmp_path):
    path = tmp_path / "made.pdf"
    path.write_bytes(paper.render_pdf(Document(
        "Title", "Kind", "Subtitle", "2025-03-04", (("fact", "told"),),
        (Section("one", "One", tuple(blocks)),), "foot")))
    return [words for _, _, words in words_of(path)]


@pytest.mark.parametrize("lines", range(32, 36))
def test_no_single_row_of_a_long_table_is_left_at_the_foot_of_a_page(tmp_path, lines):
    """The first of 25 analytes once stood alone below the summary."""
    table = Table("Long", (Column("name", weight=1), Column("value", "right")),
                  tuple((Cell("row"), Cell(str(i))) for i in range(25)))
    pages = made([*(Paragraph("Filling.") for _ in range(lines)), table], tmp_path)
    begun = next(words for words in pages if any(w.text == "Long" for w in words))
    assert sum(w.text == "row" for w in begun) >= FEWEST


@pytest.mark.parametrize("filling", range(22, 32, 2))
def test_no_line_ends_inside_a_unit(tmp_path, filling):
    """A ramp rate once went on in the next line after "mbar/"."""
    (words,) = made([Paragraph("mmmm " * 10 + "i" * filling + " 200 mbar/min then")], tmp_path)
    assert not any(w.text.endswith("mbar/") for w in words)
