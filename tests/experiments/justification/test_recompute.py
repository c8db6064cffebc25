"""A reader with nothing but the report, or the exported file, computes the answer again."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import pytest

from experiments import Dossier
from experiments.cli import main
from experiments.events import canonical
from experiments.job_file import parse
from experiments.recompute import recompute
from experiments.report import content, paper, web
from experiments.report.gathered import gather
from experiments.results_table import read_table
from experiments.storage.protocol import StoreError
from experiments.transfer import pack

EXAMPLES = Path(__file__).parents[3] / "examples"

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def dossier() -> Dossier:
    made = Dossier.start(parse(EXAMPLES / "new_analyte_with_keeper.toml"), who="M. Keller",
                         clock=lambda: "2025-03-03T09:00:00.000+00:00", dossier_id="again")
    data = (EXAMPLES / "new_analyte_with_keeper_trials.csv").read_bytes()
    for trial in read_table(data, made.job, made.trials).trials:
        made.record(trial.trial, setting=trial.setting, run_time_min=trial.run_time_min,
                    outcome=trial.outcome, recovery_percent=trial.recovery_percent, day=trial.day)
    return made


@pytest.fixture(scope="module")
def document(dossier):
    return content.compose(gather(dossier), "2025-03-04")


@pytest.fixture(scope="module")
def numbers(document) -> bytes:
    (file,) = [a for a in document.attachments if a.name == "report.json"]
    return file.data


def changed(numbers: bytes, signed: bool, **answer) -> bytes:
    """The numbers of a report with another answer, its check sum made again or not."""
    data = json.loads(numbers)
    data["answer"] |= answer
    if signed:
        import hashlib

        rest = {k: v for k, v in data.items() if k != "digest"}
        data["digest"] = hashlib.sha256(canonical(rest).encode()).hexdigest()
    return json.dumps(data).encode()


def test_one_command_with_the_report_alone(document, dossier, tmp_path, capsys):
    path = tmp_path / "report.pdf"
    path.write_bytes(paper.render_pdf(document))
    assert main(["recompute", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["agrees"] is True
    assert told["dossier"] == dossier.id
    assert told["setting"] == told["reported"]["setting"]


def test_one_command_with_the_exported_file_and_the_report(document, dossier, tmp_path, capsys):
    page, export = tmp_path / "report.html", tmp_path / "dossier.zip"
    page.write_text(web.render_html(document), encoding="utf-8")
    export.write_bytes(pack(dossier))
    assert main(["recompute", str(export), str(page)]) == 0
    assert "The report says the same." in capsys.readouterr().out


def test_an_exported_file_alone_has_nothing_to_compare_with(dossier):
    found = recompute(pack(dossier))
    assert found.reported is None
    assert found.answer.setting is not None


def test_another_answer_in_the_report_is_told(dossier, numbers, tmp_path, capsys):
    wrong = tmp_path / "report.json"
    wrong.write_bytes(changed(numbers, signed=True, probability=0.999))
    export = tmp_path / "dossier.zip"
    export.write_bytes(pack(dossier))
    assert main(["recompute", str(export), str(wrong)]) == 1
    assert "the report says 99.9 %" in capsys.readouterr().out


def test_a_record_that_went_on_is_told(dossier, numbers):
    longer = Dossier.from_events(dossier.events)
    longer.exclude(longer.recorded[-1].id, "spilt on the bench")
    found = recompute(pack(longer), numbers)
    assert found.differences[0].startswith(f"The report rests on record {len(dossier.events)} ")


def test_numbers_changed_after_the_fact_are_refused(dossier, numbers):
    with pytest.raises(StoreError, match="check sum"):
        recompute(pack(dossier), changed(numbers, signed=False, probability=0.999))


def test_a_file_without_a_dossier_is_refused(numbers, tmp_path, capsys):
    page = tmp_path / "page.html"
    page.write_text('<a href="data:application/zip;base64,'
                    f'{base64.b64encode(numbers).decode()}">x</a>')
    assert main(["recompute", str(page)]) == 2
    assert "None of the files holds a dossier." in capsys.readouterr().err
