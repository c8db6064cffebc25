"""A method on another fill or vessel: the predicted change, and what confirms it."""

from __future__ import annotations

import copy
from dataclasses import replace
from pathlib import Path

import pytest

from experiments import Dossier
from experiments.entries import EntryError
from experiments.fitted import fit
from experiments.job import Factor
from experiments.job_file import parse
from experiments.job_text import to_mapping
from experiments.method_transfer import predict_transfer
from experiments.predicted_run import predicted_run
from experiments.remedies import _changes, _try
from experiments.results_table import read_table

EXAMPLES = Path(__file__).parents[2] / "examples"
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def dossier() -> Dossier:
    made = Dossier.start(parse(EXAMPLES / "new_analyte_with_keeper.toml"), dossier_id="keeper")
    data = (EXAMPLES / "new_analyte_with_keeper_trials.csv").read_bytes()
    for t in read_table(data, made.job, made.trials).trials:
        made.record(t.trial, setting=t.setting, run_time_min=t.run_time_min, outcome=t.outcome,
                    recovery_percent=t.recovery_percent, day=t.day)
    return made


def changed(dossier: Dossier, part: str, **values):
    data = copy.deepcopy(to_mapping(dossier.job))
    data[part] |= values
    return parse(data)


def test_nothing_changes_where_the_job_stays(dossier):
    found = predict_transfer(dossier, dossier.job)
    before, after = found.run_time_min
    assert found.changes == ()
    assert after.mean == pytest.approx(before.mean, rel=0.03)
    assert found.probability[1] == pytest.approx(found.probability[0], abs=0.1)


def test_half_the_fill_is_over_sooner_by_what_the_run_model_says(dossier):
    job = changed(dossier, "sample", fill_volume_ml=9)
    found = predict_transfer(dossier, job)
    before, after = found.run_time_min
    alone = [predicted_run(j, found.setting)["run_time_min"] for j in (dossier.job, job)]
    assert after.mean / before.mean == pytest.approx(alone[1] / alone[0], abs=0.1)
    assert after.mean < 0.95 * before.mean
    assert "fill_volume_ml: 18.0 became 9.0" in " ".join(found.changes)
    assert 3 <= found.confirmation.days <= found.confirmation.runs <= 12
    assert str(found.confirmation.runs) in found.sentences[-1]


def test_another_job_is_no_transfer(dossier):
    job = dossier.job
    with pytest.raises(EntryError, match="analytes of the two jobs differ"):
        predict_transfer(dossier, replace(job, analytes=job.analytes[:1]))
    with pytest.raises(EntryError, match="heating of the two jobs differ"):
        predict_transfer(dossier, changed(dossier, "equipment", heating="gas gap"))
    with pytest.raises(EntryError, match="no results yet"):
        predict_transfer(Dossier.start(job), job)


def test_a_run_that_never_ends_is_not_in_time_under_a_longer_limit(dossier):
    """A condenser that condenses little: most runs never end, however long one may wait."""
    chances = []
    for longest in (120, 240):
        data = copy.deepcopy(to_mapping(dossier.job))
        data["equipment"]["condenser_temperature_c"] = 40.0
        data["limits"]["max_run_time_min"] = longest
        chances.append(predict_transfer(dossier, parse(data)).probability[1])
    assert chances[1] == pytest.approx(chances[0], abs=0.05)


def test_remedies_leave_alone_what_was_searched_over(dossier):
    free = replace(dossier.job, factors=(
        *dossier.job.factors, Factor("keeper_volume_ml", 0.1, 0.5)))
    words = [c.words for c in _changes(free)]
    assert any("mL keeper" in c.words for c in _changes(dossier.job))
    assert not any("mL keeper" in w for w in words)


def test_remedies_are_jobs_that_could_be_run(dossier):
    """Half of a fill below the end volume, or an end volume above the fill, is none."""
    sample = replace(dossier.job.sample, keeper=None, fill_volume_ml=6.0, end_volume_ml=4.0,
                     end_volume_control="weighing")
    small = replace(dossier.job, sample=sample)
    fitted = fit(small, ())
    words = [c.words for c in _changes(small) if _try(fitted, c) is not None]
    assert "stop at 8 mL" not in words
    assert "fill 3 mL a vessel" not in words
    assert any("keeper" in w for w in words)
