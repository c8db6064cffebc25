"""A factor is named in every place that has to know it; what lacks one says where to add it."""

from __future__ import annotations

from experiments.cli_parser import build_parser
from experiments.job import DEFAULT_STEP, EXTRA_FACTORS, FACTOR_WORDS, MAIN_FACTORS
from experiments.job_file import FACTOR_RULES
from experiments.report import trials_part
from wizard.units import Units
from wizard.view_models.job_fields import FACTOR_LABELS
from wizard.views.job_cards import STARTING_BOUNDS

FACTORS = (*MAIN_FACTORS, *EXTRA_FACTORS)
NUMERIC = [name for name in FACTORS if name != "keeper"]


def test_every_factor_has_words_bounds_and_a_step():
    assert sorted(FACTOR_WORDS) == sorted(FACTOR_LABELS) == sorted(FACTORS)
    assert sorted(FACTOR_RULES) == sorted(DEFAULT_STEP) == sorted(NUMERIC)
    assert sorted(STARTING_BOUNDS) == sorted(set(NUMERIC) - set(MAIN_FACTORS))


def test_the_unit_in_the_name_of_a_factor_is_the_one_that_is_printed():
    assert {n: Units().unit(n) for n in FACTORS} == {n: FACTOR_WORDS[n][1] for n in FACTORS}


def test_the_command_line_takes_every_factor():
    words = [w for n in NUMERIC for w in (f"--{n.replace('_', '-')}", "1.5")]
    given = build_parser().parse_args(["simulate", "job.toml", *words, "--keeper", "n-dodecane"])
    assert [getattr(given, n) for n in NUMERIC] == [1.5] * len(NUMERIC)
    assert given.keeper == "n-dodecane"


def test_a_factor_without_a_short_name_heads_its_column_with_its_words(monkeypatch):
    monkeypatch.setitem(FACTOR_WORDS, "fill_volume_ml", ("fill volume", "mL"))
    assert trials_part._head("fill_volume_ml") == "fill volume mL"
