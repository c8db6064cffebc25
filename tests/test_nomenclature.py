"""DEVELOPERS.md explains exactly the names that the code has."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest

from models import equipment, parameters, run_log, run_model, system

PAGE = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text("utf-8")


def names_under(heading: str) -> list[str]:
    """First column of the table under the heading that contains the text."""
    start = next(m for m in re.finditer(r"^#+ .*$", PAGE, re.MULTILINE) if heading in m[0])
    section = re.split(r"^#+ ", PAGE[start.end() :], maxsplit=1, flags=re.MULTILINE)[0]
    return re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)


@pytest.mark.parametrize(
    ("heading", "record"),
    [
        ("models.system.LiquidSystem", system.LiquidSystem),
        ("models.equipment.Equipment", equipment.Equipment),
        ("models.equipment.Load", equipment.Load),
        ("models.run_model.RunBatch", run_model.RunBatch),
        ("models.run_log.RunLog", run_log.RunLog),
        ("models.run_log.LogMarks", run_log.LogMarks),
    ],
)
def test_every_field_is_explained(heading, record):
    assert names_under(heading) == [field.name for field in dataclasses.fields(record)]


def test_every_parameter_is_explained():
    assert names_under("Parameters of the run model") == list(parameters.NAMES)


def test_parameter_units_agree():
    rows = dict(re.findall(r"^\| `(\w+)` \|[^|]*\| ([^|]+?) \|$", PAGE, re.MULTILINE))
    assert {p.name: rows[p.name] for p in parameters.PARAMETERS} == {
        p.name: p.unit for p in parameters.PARAMETERS
    }
