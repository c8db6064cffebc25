"""DEVELOPERS.md explains exactly the names that the code has."""

from __future__ import annotations

import ast
import dataclasses
import re
from pathlib import Path

import pytest

from models import equipment, parameters, run_log, run_model, system

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")


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


def uncalled(wanted: tuple[str, ...]) -> list[str]:
    """Public functions and classes of these folders that no package names outside themselves."""
    trees = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts): ast.parse(path.read_text("utf-8"))
        for folder in ("models", "experiments", "wizard") for path in (ROOT / folder).rglob("*.py")
    }
    named: set[tuple[str, str]] = set()
    for module, tree in trees.items():
        known = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                named |= {(str(node.module), a.name) for a in node.names}
                known |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                named.add((known.get(node.value.id, ""), node.attr))
            elif isinstance(node, ast.Name):
                named.add((module, node.id))
    return [
        node.name for module in sorted(trees)
        if module.startswith(wanted) and not module.endswith("__init__")
        for node in trees[module].body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_") and (module, node.name) not in named
    ]


def test_every_function_that_the_program_does_not_call_is_listed():
    found = uncalled(("models.", "experiments.studies."))
    assert sorted(names_under("Functions for notebooks")) == sorted(found)
