"""The operating map and the recommendation must not contradict each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import example_dossiers, service
from experiments.bootstrap import local_user
from experiments.fitted import fit
from experiments.operating_map import window_map
from experiments.storage.memory import MemoryStore
from wizard.charts.operating_map import operating_map
from wizard.charts.palette import LIGHT
from wizard.units import Units
from wizard.view_models.window_map import map_data, setting_marks

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def known():
    """The first example with its recommended setting."""
    store = MemoryStore()
    session = service.Session(store, local_user())
    dossier_id = example_dossiers.load(store, example_dossiers.names()[0].key, local_user())
    answer = service.recommend(session, dossier_id)[1]
    return service.load(session, dossier_id), answer.setting


def assured(fitted, count):
    """Settings whose probability is just above the asked assurance: the hardest to draw."""
    chance = fitted.probability(fitted.candidates)
    order = np.argsort(np.where(chance >= fitted.job.limits.assurance, chance, np.inf))[:count]
    return [fitted.candidates[i] for i in order]


def is_filled(chart, place):
    """Whether the tinted region of the chart, the faintest but one, covers a place."""
    tinted = [layer for layer in chart.to_dict()["layer"]
              if layer["mark"].get("opacity") == pytest.approx(0.22)]
    return any(r["x"] <= place[0] <= r["x2"] and r["y"] <= place[1] <= r["y2"]
               for layer in tinted for r in layer["data"]["values"])


def drawn_map(dossier, setting):
    fitted = dossier.fitted()
    found = window_map(fitted, setting["ramp_rate_mbar_per_min"], around=setting)
    marks = setting_marks(dossier, Units(), setting)
    return found, operating_map(map_data(found, dossier.job, Units(), marks), LIGHT)


def test_a_setting_assured_enough_lies_inside_the_outline(known):
    dossier, recommended = known
    fitted = dossier.fitted()
    settings = [recommended, *assured(fitted, 3)]
    assert (fitted.probability(settings) >= dossier.job.limits.assurance).all()
    for setting in settings:
        _, chart = drawn_map(dossier, setting)
        place = setting["set_temperature_c"], setting["end_pressure_mbar"]
        assert is_filled(chart, place), setting


def test_the_map_says_of_a_setting_what_its_forecast_says(known):
    dossier, setting = known
    found, _ = drawn_map(dossier, setting)
    j = found.end_pressure_mbar.tolist().index(setting["end_pressure_mbar"])
    i = found.set_temperature_c.tolist().index(setting["set_temperature_c"])
    (forecast,) = dossier.forecast([setting])
    assert found.probability[j, i] == pytest.approx(forecast.probability)
    assert found.in_time[j, i] == pytest.approx(forecast.finish_probability)
    assert found.run_time_min[j, i] == pytest.approx(forecast.run_time_min.mean)


def test_the_map_shows_where_the_sample_gets_too_warm(known):
    dossier, setting = known
    cap = dossier.job.factor("set_temperature_c").low + 2.0  # a dry vessel takes the wall's
    job = replace(dossier.job, sample=replace(dossier.job.sample, max_temperature_c=cap))
    found = window_map(fit(job, ()), setting["ramp_rate_mbar_per_min"])
    warm = found.margins["sample too warm"]
    assert (warm[:, found.set_temperature_c > cap + 3.0] > 0).any()
    assert not (warm[:, found.set_temperature_c < cap] > 0).any()


def test_run_times_on_the_map_are_those_of_runs_that_end(known):
    dossier, setting = known
    longest = 30.0  # minutes: too short for the cool corner
    job = dossier.job
    job = replace(job, limits=replace(job.limits, max_run_time_min=longest))
    found = window_map(fit(job, ()), setting["ramp_rate_mbar_per_min"], around=setting)
    assert np.nanmax(found.run_time_min) <= 1.1 * longest  # the mean of ln-normal ends
    assert np.isnan(found.run_time_min).any()
    assert (found.in_time[np.isnan(found.run_time_min)] < 0.5).all()
