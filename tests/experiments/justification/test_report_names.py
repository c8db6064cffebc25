"""Script in the names a user types is shown in the page and the paper, and does nothing."""

from __future__ import annotations

import io
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pytest

from experiments import Dossier
from experiments.job_file import parse
from experiments.report import content, paper, web
from experiments.report.gathered import gather
from experiments.results_table import read_table

EXAMPLES = Path(__file__).parents[3] / "examples"
SCRIPT = '<script>alert("x")</script><img src=x onerror=alert(1)>'
TAGS_OF_SCRIPT = {"script", "iframe", "object", "embed", "form"}

pytestmark = pytest.mark.slow


class Seen(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.handlers: list[str] = []
        self.sources: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.add(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        self.sources += [str(value) for name, value in attrs if name == "src"]

    def handle_data(self, data) -> None:
        self.text.append(data)


@pytest.fixture(scope="module")
def document():
    job = parse(EXAMPLES / "new_analyte_with_keeper.toml")
    first = job.analytes[0]
    assert first.is_new
    made = Dossier.start(replace(job, analytes=(
        replace(first, name=SCRIPT), *job.analytes[1:])), who=SCRIPT)
    table = (EXAMPLES / "new_analyte_with_keeper_trials.csv").read_text("utf-8")
    quoted = '"recovery_percent:{}"'.format(SCRIPT.replace('"', '""'))
    read = read_table(table.replace(f"recovery_percent:{first.name}", quoted), made.job, ())
    assert read.is_clean
    for trial in read.trials:
        made.record(trial.trial, setting=trial.setting, run_time_min=trial.run_time_min,
                    outcome=trial.outcome, recovery_percent=trial.recovery_percent, remark=SCRIPT)
    return content.compose(gather(made), "2025-03-03")


def test_script_in_the_name_of_an_analyte_is_text_in_the_page(document) -> None:
    page = Seen()
    page.feed(web.render_html(document))
    assert not page.tags & TAGS_OF_SCRIPT
    assert not page.handlers
    assert all(s.startswith("data:") for s in page.sources)
    assert 'alert("x")' in "".join(page.text)


def test_it_is_text_in_the_paper_too(document) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(paper.render_pdf(document)))
    text = "".join(p.extract_text() for p in pdf.pages).replace("\n", "")
    assert "<script>" in text
    assert "/JavaScript" not in (pdf.trailer["/Root"].get("/Names") or {})
    assert not any("/AA" in p or "/OpenAction" in p for p in (pdf.trailer["/Root"], *pdf.pages))
