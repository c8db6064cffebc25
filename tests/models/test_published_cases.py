"""The list of published cases has no gap: each names tests that exist, and what they are worth."""

from __future__ import annotations

import ast
import csv
from pathlib import Path

import pytest

HERE = Path(__file__).parent
CASES = list(csv.DictReader(
    (HERE.parent / "data" / "published" / "cases.csv").read_text("utf-8").splitlines()))
SERIES = {"P": (1, 2, 3, 4, 5, 8, 9, 10, 11), "M": (*range(1, 11), 12, 13, 14),
          "R": (1, 3, 4, 5, 8, 9), "T": range(1, 9), "H": range(1, 9), "F": range(1, 9)}


def functions(file: str) -> set[str]:
    tree = ast.parse((HERE / file).read_text("utf-8"))
    return {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}


def test_no_case_is_missing():
    assert [c["case"] for c in CASES] == [f"{s}{n}" for s, ns in SERIES.items() for n in ns]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["case"])
def test_every_case_is_tested_and_graded(case):
    assert case["source"]
    assert case["grade"] in {"A", "B", "C", "D", "closed form"}
    assert case["kind"] in {"proof", "trend", "regression"}
    tests = [t.split("::") for t in case["test"].split()]
    assert tests
    assert all(name in functions(file) for file, name in tests)
