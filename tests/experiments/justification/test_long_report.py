"""The report of twenty-five analytes with long names: nothing cut, nothing on top of another.

The results are made by a formula; what is looked at is the paper, not the answer. Words and
their places are read back with poppler (`pdftotext -bbox`), independently of the typesetter.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import docx
import openpyxl
import pypdf
import pytest

from experiments import Dossier
from experiments.job import Analyte, VapourPressurePoint
from experiments.job_file import parse
from experiments.report import content, paper, web, word, workbook
from experiments.report.document import Figure, Table
from experiments.report.gathered import gather
from experiments.report.terms import TERMS
from experiments.trials import Recovery, Result
from experiments.verification import decide
from experiments.verification_runs import VerificationRun

EXAMPLES = Path(__file__).parents[3] / "examples"
KNOWN = (
    "naphthalene", "1-methylnaphthalene", "2-methylnaphthalene", "acenaphthylene", "acenaphthene",
    "fluorene", "phenanthrene", "anthracene", "fluoranthene", "pyrene", "benz[a]anthracene",
    "chrysene", "benzo[b]fluoranthene", "benzo[k]fluoranthene", "benzo[a]pyrene",
    "indeno[1,2,3-cd]pyrene", "dibenz[a,h]anthracene", "benzo[ghi]perylene",
    "bis(2-ethylhexyl) phthalate", "benzyl butyl phthalate", "hexachlorobenzene", "lindane",
)
LONG = (
    "2,2',3,4,4',5,5'-heptachlorobiphenyl (internal reference congener no. 180)",
    "O,O-diethyl O-(3,5,6-trichloro-2-pyridinyl) phosphorothioate",
    "1,1,1-trichloro-2,2-bis(4-methoxyphenyl)ethane",
)
RUNS = ((35, 15, 200, 50.0), (50, 150, 150, 28.0), (42, 50, 70, 30.0), (45, 80, 150, 33.0))
MARGIN_PT = 22 / 25.4 * 72
EDGE_PT = 1.0  # letters may lean over the edge of the text by a little
COMMON = {"PDF", "README", "HTML"}
"""Abbreviations any reader of a report knows (common practice, no source)."""


class Word(NamedTuple):
    text: str
    left: float
    top: float
    right: float
    bottom: float


def long_job():
    job = parse(EXAMPLES / "semivolatiles_to_dryness.toml")
    known = [Analyte(name, 75.0, spike_ug=20.0) for name in KNOWN]
    new = [Analyte(name, 75.0, spike_ug=20.0, molar_mass_g_per_mol=360.0,
                   vapour_pressure=(VapourPressurePoint(25.0, 1e-3),)) for name in LONG]
    return replace(job, analytes=(*known, *new), today=None,
                   limits=replace(job.limits, assurance=0.8))


@pytest.fixture(scope="module")
def gathered():
    made = Dossier.start(long_job(), who="M. Keller", dossier_id="long",
                         clock=lambda: "2025-03-03T09:00:00.000+00:00")
    for i, (degrees, ramp, end, minutes) in enumerate(RUNS):
        recovery = {
            a.name: [round(92.0 + (3 * i + 5 * j + k) % 9, 1) for k in range(12)]
            for j, a in enumerate(made.job.analytes)
        }
        recovery["naphthalene"][3] = "<5"
        made.record(None, setting={
            "set_temperature_c": degrees, "ramp_rate_mbar_per_min": ramp,
            "end_pressure_mbar": end}, run_time_min=minutes, outcome="finished",
            recovery_percent=recovery, day="2025-03-03")
    return gather(made)


@pytest.fixture(scope="module")
def document(gathered):
    return content.compose(gathered, "2025-03-04")


@pytest.fixture(scope="module")
def pdf(document, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("long") / "report.pdf"
    path.write_bytes(paper.render_pdf(document))
    return path


@pytest.fixture(scope="module")
def pages(pdf) -> list[tuple[float, float, list[Word]]]:
    return words_of(pdf)


@pytest.fixture(scope="module")
def verified(gathered, tmp_path_factory) -> Path:
    """The same report after the planned runs, each on a day of its own."""
    job, made = gathered.dossier.job, gathered.plan
    runs = []
    for i in range(made.criteria.runs):
        recovery = {a.name: tuple(Recovery(95.0 + (3 * i + 5 * j + k) % 7) for k in range(12))
                    for j, a in enumerate(job.analytes)}
        minutes = 0.5 * (made.run_time_low + made.run_time_high)
        runs.append(VerificationRun(f"V{i + 1}", made.setting, Result(
            minutes, "finished", recovery, dict.fromkeys(recovery, False),
            day=f"2025-04-{i + 1:02d}")))
    found = decide(job, made, runs)
    assert found.decision == "pass"
    path = tmp_path_factory.mktemp("verified") / "report.pdf"
    after = replace(gathered, runs=tuple(runs), verification=found)
    path.write_bytes(paper.render_pdf(content.compose(after, "2025-05-04")))
    return path


def words_of(pdf) -> list[tuple[float, float, list[Word]]]:
    """Width, height and words of every page."""
    tool = shutil.which("pdftotext")
    assert tool, "poppler-utils is installed by `make test`"
    text = subprocess.run([tool, "-bbox", str(pdf), "-"], capture_output=True, check=True).stdout
    root = ElementTree.fromstring(text)
    found = []
    for page in root.iter("{http://www.w3.org/1999/xhtml}page"):
        words = [Word(w.text or "", *(float(w.get(k)) for k in ("xMin", "yMin", "xMax", "yMax")))
                 for w in page.iter("{http://www.w3.org/1999/xhtml}word")]
        found.append((float(page.get("width")), float(page.get("height")), words))
    return found


pytestmark = pytest.mark.slow


def test_no_word_leaves_the_text_area(pages):
    for wide, _, words in pages:
        for w in words:
            assert w.left > MARGIN_PT - EDGE_PT, w
            assert w.right < wide - MARGIN_PT + EDGE_PT, w


def test_no_word_lies_on_another(pages):
    """Heads of narrow columns once ran into each other."""
    check_apart(pages)


def test_no_word_lies_on_another_after_verification(verified):
    """Nor did the numbers of twelve runs fit below a small panel."""
    check_apart(words_of(verified))


def check_apart(pages):
    for _, _, words in pages:
        for i, a in enumerate(words):
            for b in words[i + 1 :]:
                wide = min(a.right, b.right) - max(a.left, b.left)
                high = min(a.bottom, b.bottom) - max(a.top, b.top)
                small = min(a.bottom - a.top, b.bottom - b.top)
                assert not (wide > 1.0 and high > 0.5 * small), (a, b)


def test_no_page_is_all_but_empty(pages):
    for number, (_, _, words) in enumerate(pages, start=1):
        assert len(words) > 40, number


def test_the_lines_to_sign_on_stand_on_one_page(pages):
    """A page with nothing but a line to sign on would be signed unread."""
    roles = {"Author", "Reviewer", "Approved", "Signatures"}
    assert any(roles <= {w.text for w in words} for _, _, words in pages[1:])


def test_every_name_stands_whole_in_the_text(pages):
    text = "".join(w.text for _, _, words in pages for w in words)
    for name in (*KNOWN, *LONG):
        assert name.replace(" ", "") in text, name


def test_every_analyte_has_its_criteria_before_any_run(document):
    (verification,) = [s for s in document.sections if s.key == "verification"]
    tables = [b for b in verification.blocks if isinstance(b, Table)]
    (table,) = [t for t in tables if t.title.startswith("Criteria of the analytes")]
    assert [row[0].text for row in table.rows] == [*KNOWN, *LONG]
    assert all(row[1].text == "75 to 120" for row in table.rows)
    assert {row[-1].text for row in table.rows} == {"open"}


def test_a_row_is_never_split_between_pages():
    """Only a cell longer than any usual remark may break."""
    source = paper.TEMPLATE.read_text()
    assert "breakable: c.text.len() > longest-whole" in source


def test_links_lead_to_pages_of_the_report(pdf):
    reader = pypdf.PdfReader(pdf)
    numbers = {p.indirect_reference.idnum for p in reader.pages}
    named = reader.named_destinations
    links = [a.get_object() for p in reader.pages for a in p.get("/Annots", ())]
    places = [a.get("/Dest") or a["/A"]["/D"] for a in links if a["/Subtype"] == "/Link"]
    assert len(places) > 20
    for place in places:
        target = named[place].page if isinstance(place, str) else place[0]
        assert target.idnum in numbers


def test_poppler_finds_every_font_embedded(pdf):
    told = subprocess.run(["pdffonts", str(pdf)], capture_output=True, check=True, text=True)
    rows = [line.split() for line in told.stdout.splitlines()[2:]]
    assert len(rows) > 1
    assert all(row[-5:-2] == ["yes", "yes", "yes"] for row in rows), "emb, sub, uni"


def test_every_abbreviation_is_explained(document):
    told = [s for s in document.sections if s.key not in ("terms", "method-sheet")]
    text = "\n".join(c.text for s in told for b in s.blocks if isinstance(b, Table)
                     for row in b.rows for c in row)
    text += "\n".join(str(getattr(b, "text", "")) for s in told for b in s.blocks)
    text += "\n".join(i for s in told for b in s.blocks for i in getattr(b, "items", ()))
    found = set(re.findall(r"(?<![\w-])[A-Z]{3,}(?![\w-])", text))
    explained = {w for term in TERMS for w in re.findall(r"[A-Z]{3,}", term)}
    assert found <= explained | COMMON
    (terms,) = [s for s in document.sections if s.key == "terms"]
    shown = {row[0].text for row in terms.blocks[0].rows}
    assert {"RSD", "ICH Q14", "UNIFAC", "leave-one-out"} <= shown
    assert "keeper" not in {row[0].text for row in terms.blocks[0].rows} or "keeper" in text


def test_the_other_formats_hold_the_same_tables(document):
    tables = [b for s in document.sections for b in s.blocks if isinstance(b, Table)]
    figures = [b for s in document.sections for b in s.blocks if isinstance(b, Figure)]
    page = web.render_html(document)
    assert page.count("<table") == len(tables)
    assert page.count("<svg") == len(figures)
    file = docx.Document(io.BytesIO(word.render_docx(document)))
    assert sum(len(t.rows) for t in file.tables) >= sum(len(t.rows) + 1 for t in tables)
    area = file.sections[0]
    room = area.page_width - area.left_margin - area.right_margin
    assert all(s.width <= room for s in file.inline_shapes)
    book = openpyxl.load_workbook(io.BytesIO(workbook.report_workbook(document)))
    held = {str(c.value) for sheet in book for row in sheet.iter_rows() for c in row}
    assert {t.title for t in tables} <= held
    assert {c.title for t in tables for c in t.columns if c.title} <= held
    assert set(LONG) <= held
