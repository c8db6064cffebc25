"""The rules of the source tree that no other tool checks."""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("models", "experiments", "wizard")
MAY_IMPORT = {
    "models": {"models"},
    "experiments": {"experiments", "models"},
    "wizard": {"wizard", "experiments", "models"},
}
LINES_AT_MOST = 400


def sources(*folders: str) -> list[Path]:
    found = [p for folder in folders for p in sorted((ROOT / folder).rglob("*.py"))]
    assert found, f"no source found in {folders}"
    return found


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imported_packages(tree: ast.AST) -> set[str]:
    """Top-level names of everything a module imports, at any depth of its code."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("package", PACKAGES)
def test_imports_go_one_way(package):
    wrong = {
        relative(path): bad
        for path in sources(package)
        if (
            bad := (imported_packages(ast.parse(path.read_text("utf-8"))) & set(PACKAGES))
            - MAY_IMPORT[package]
        )
    }
    assert not wrong


def test_streamlit_is_imported_in_the_wizard_only():
    users = [
        relative(path)
        for path in sources("models", "experiments")
        if "streamlit" in imported_packages(ast.parse(path.read_text("utf-8")))
    ]
    assert not users


def test_models_read_no_files_but_their_own_tables():
    """Reading is left to the modules that load ``models/data``; nothing writes."""
    writing = re.compile(r"\.write_(text|bytes)\(|open\([^)]*[\"'][wax]b?[\"']")
    assert not [relative(p) for p in sources("models") if writing.search(p.read_text("utf-8"))]


def test_no_module_outgrows_a_reader():
    long = {
        relative(path): lines
        for path in sources(*PACKAGES, "tests", "examples")
        if (lines := len(path.read_text("utf-8").splitlines())) > LINES_AT_MOST
    }
    assert not long


def test_no_file_of_the_wizard_shadows_a_module():
    """Streamlit puts wizard/ first on the path, where a file would hide a module."""
    taken = set(sys.stdlib_module_names) | imported_packages_of_the_project()
    names = {path.stem for path in (ROOT / "wizard").glob("*.py")}
    names |= {path.name for path in (ROOT / "wizard").iterdir() if path.is_dir()}
    assert not names & (taken - {"__init__"})


def imported_packages_of_the_project() -> set[str]:
    trees = (ast.parse(path.read_text("utf-8")) for path in sources(*PACKAGES))
    return set().union(*(imported_packages(tree) for tree in trees))


VAGUE = {"utils", "util", "helpers", "helper", "common", "misc", "manager", "stuff"}


def test_modules_are_named_after_what_they_hold():
    assert not [relative(p) for p in sources(*PACKAGES) if p.stem in VAGUE]


def test_nothing_is_left_for_later_and_no_test_is_switched_off():
    later = re.compile(r"\b(" + "|".join(("TO" + "DO", "FIX" + "ME", "XX" + "X")) + r")\b")
    off = re.compile(  # a known miss may stand if it says so and fails once it is gone
        r"\bpytest\.(skip|xfail|importorskip)\b|mark\.(skip|skipif)\b"
        r"|mark\.xfail\b(?!\(strict=True, reason=)"
    )
    this = Path(__file__).name
    assert not [
        relative(path)
        for path in sources(*PACKAGES, "tests", "examples")
        if path.name != this and (later.search(t := path.read_text("utf-8")) or off.search(t))
    ]


def test_no_path_of_one_machine_is_written_down():
    local = re.compile(r"(?<![\w.:/])/(tmp|work|root|home/\w+)/")
    files = sources(*PACKAGES, "tests", "examples") + list(ROOT.glob("*.md"))
    this = Path(__file__).name
    assert not [
        relative(p) for p in files if p.name != this and local.search(p.read_text("utf-8"))
    ]


def test_no_record_is_pickled():
    pickling = {"pickle", "cloudpickle", "dill", "shelve", "marshal"}
    assert not [
        relative(p)
        for p in sources(*PACKAGES)
        if imported_packages(ast.parse(p.read_text("utf-8"))) & pickling
    ]
