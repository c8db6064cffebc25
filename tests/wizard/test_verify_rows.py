"""What the page Verify says of plans and of runs to learn from."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from experiments.trials import Recovery, Result, RunOfPlan, Trial
from experiments.verification_plan import DesignChance
from experiments.verification_runs import VerificationRun
from wizard.view_models.settings_text import result_text
from wizard.view_models.verify_rows import (
    is_hopeless,
    learnt_sentence,
    needed_sentence,
    offer_sentence,
    plan_lines,
    replicate_readings,
    sameness_sentence,
)


def plans(*chances: float) -> SimpleNamespace:
    return SimpleNamespace(needed_mean={"a": 80.0}, alternatives=tuple(
        DesignChance(n, 3, c) for n, c in enumerate(chances, start=3)))


@pytest.mark.parametrize(("chances", "said"), [
    ((0.0, 0.001, 0.004), "3 to 5 runs all have the same chance of passing, below 1 %: no number "
                          "of runs helps. Look for a setting further from its target."),
    ((0.997, 0.999), "3 to 4 runs all have the same chance of passing, above 99 %: more runs "
                     "are worth it only where your procedure asks for them."),
    ((0.6, 0.8), ""),
])
def test_numbers_of_runs_with_one_chance_are_not_offered_as_if_they_differed(chances, said):
    assert sameness_sentence(plans(*chances)) == said
    assert is_hopeless(plans(*chances)) == ("no number of runs helps" in said)


def test_a_setting_further_from_its_target_is_no_cure_for_scatter():
    made = plans(0.0, 0.001)
    made.needed_mean["b"] = None
    said = sameness_sentence(made)
    assert "single runs of b scatter too widely" in said
    assert "further from its target" not in said


def row(name: str, decides: bool = True) -> SimpleNamespace:
    return SimpleNamespace(analyte=name, decides=decides, mean_low=75.0, mean_high=120.0,
                           target=75.0, rsd_max=10.0)


def test_a_long_list_of_analytes_has_short_cells_whose_words_are_explained_once():
    """A sentence in the cell of each of 25 analytes once took five lines of a narrow window."""
    made = SimpleNamespace(
        needed_mean={"a": 82.4, "b": None, "c": None},
        criteria=SimpleNamespace(analytes=(row("a"), row("b"), row("c", decides=False))))
    cells = [line["usually passes from a mean of"] for line in plan_lines(made)]
    assert cells == ["82 %", "none", "watched"]
    assert needed_sentence(made) == (
        "None: single runs scatter too widely for any true mean to pass usually. Watched: "
        "reported, and decides nothing.")
    made.criteria.analytes = (row("a"),)
    assert needed_sentence(made) == ""


def test_runs_to_learn_from_and_those_learnt_are_named():
    assert "learnt from V1 and V3 yet. As trials of this setting they" in offer_sentence(
        ["V1", "V3"])
    assert "As a trial of this setting it" in offer_sentence(["V2"])
    assert learnt_sentence({}) == ""
    assert learnt_sentence({"V1": "T10", "V2": "T11"}) == (
        "The forecasts learn from these runs: V1 is trial T10 and V2 is trial T11.")


def test_a_trial_taken_over_from_a_verification_says_which_run_it_is():
    ran = Trial("T9", {}, result=Result(19.6, "finished", {}, {}), state="recorded")
    assert result_text(replace(ran, run_of=RunOfPlan(20, "V1"))) == (
        "19.6 min, finished, verification run V1")
    assert result_text(ran) == "19.6 min, finished"


def test_a_reading_below_its_limit_says_so_in_the_chart(job_of_a):
    held = Result(40.0, "finished", {"a": (Recovery(50.0, censored=True), Recovery(91.0))})
    run = VerificationRun("V1", {}, held)
    assert [r.words for r in replicate_readings([run], job_of_a, {"V1"})] == [
        "V1: below 50 %", "V1: 91 %"]
    assert [r.words for r in replicate_readings([run], job_of_a, ())][0].endswith("not count")


@pytest.fixture
def job_of_a():
    return SimpleNamespace(must=[SimpleNamespace(name="a")])
