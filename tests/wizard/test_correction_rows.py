"""A result as a table to correct it in, and back."""

from __future__ import annotations

import re
import tomllib

import pytest

from experiments import example_dossiers
from experiments.job_file import parse
from experiments.trials import Recovery, Result
from wizard.units import NotANumber, Units
from wizard.view_models.correction_rows import read_readings, reading_rows


@pytest.fixture(scope="module")
def job():
    return parse(tomllib.loads(example_dossiers.names()[1].job.read_text("utf-8")))


def test_a_result_comes_back_from_its_table_as_it_was(job):
    names = [a.name for a in job.analytes]
    held = Result(41.0, "finished", {names[0]: (Recovery(88.1), None, Recovery(5.0, True))},
                  {names[0]: False})
    if len(names) > 1:
        held.recovery[names[1]], held.is_mean[names[1]] = (Recovery(92.0),), True
    rows = reading_rows(job, held, Units(decimal="comma").sign)
    first = 1 if len(names) > 1 else 0  # a mean stands first
    assert rows[first][1] == "88,1"
    back = read_readings(job, rows)
    count = job.equipment.vessels
    assert back[names[0]] == [88.1, None, "<5", *[None] * (count - 3)]
    assert all(back[n] == 92.0 for n in names[1:2])
    with pytest.raises(NotANumber, match=f"{re.escape(names[0])}, vessel 2: .*lost"):
        read_readings(job, [[r[0], "lost" if r[0] == "2" else r[1], *r[2:]] for r in rows])
    with pytest.raises(NotANumber, match="empty one"):
        read_readings(job, [[r[0], "90" if r[0] == "mean" else r[1], *r[2:]] for r in rows])
