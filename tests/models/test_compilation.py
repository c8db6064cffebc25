"""What was compiled is used again only while nothing that went into it has changed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from models.compilation import compiled_from, source_digest

FOLDER = Path(__file__).parents[2] / "models"


@pytest.fixture
def folder(tmp_path):
    for path in FOLDER.glob("*.py"):
        shutil.copy(path, tmp_path)
    return tmp_path


@pytest.mark.parametrize("name", ["kernel_slopes", "kernel_data", "discrepancy", "heat_transfer",
                                  "parameters", "spin"])
def test_a_change_of_a_kernel_or_of_a_constant_in_it_is_noticed(folder, name):
    before = source_digest(folder)
    with (folder / f"{name}.py").open("a") as file:
        file.write("MORE = 1\n")
    assert source_digest(folder) != before


def test_a_change_elsewhere_compiles_nothing_again(folder):
    before = source_digest(folder)
    (folder / "cautions.py").write_text("")
    assert source_digest(folder) == before
    assert "cautions" not in compiled_from(folder)
