"""What was compiled is used again only while nothing that went into it has changed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
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


TWO_PEOPLE = """
from threading import Thread
import numpy as np
from models.kernel_survival import survival_table

def fit():
    one, three = np.ones((400, 3, 1)), np.ones(3) / 3
    for _ in range(200):
        survival_table(one, one, one[..., 0], one[:, 0], three, three[:1], one[0, :1], three)

fit()
threads = [Thread(target=fit) for _ in range(3)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
print("every one has its answer")
"""


def test_two_threads_may_fit_at_once_where_openmp_is_missing():
    done = subprocess.run(
        [sys.executable, "-c", TWO_PEOPLE], cwd=FOLDER.parent, capture_output=True, text=True,
        env={**os.environ, "NUMBA_THREADING_LAYER": "workqueue"}, check=False)
    assert (done.returncode, done.stdout) == (0, "every one has its answer\n"), done.stderr
