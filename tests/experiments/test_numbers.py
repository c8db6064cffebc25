"""Numbers on their way into and out of the fit: days of runs, forecasts that are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import Dossier
from experiments.fitted import ROOM_BYTES
from experiments.held_points import HeldPoints
from experiments.readings import USUAL_DEGREES, same_day, vessel_rsd
from experiments.trials import Recovery, Result
from models.errors import ModelError


def test_a_forecast_that_is_no_number_names_the_setting(
    monkeypatch: pytest.MonkeyPatch
) -> None:
    dossier = Dossier.start("examples/semivolatiles_to_dryness.toml")
    fitted = dossier.fitted()
    drawn = type(fitted.surrogate).draws

    def broken(*args: object) -> object:
        draws = drawn(*args)  # type: ignore[arg-type]
        stable = draws.stable.copy()
        stable[0, 3] = np.nan
        return replace(draws, stable=stable)

    monkeypatch.setattr(type(fitted.surrogate), "draws", broken)
    before = len(dossier.events)
    setting = fitted.space.spread(2, 1)[0]
    monkeypatch.setattr(fitted, "_points", HeldPoints(ROOM_BYTES))
    with pytest.raises(ModelError, match="no number for the setting .*set_temperature_c"):
        fitted.forecast([setting])
    with pytest.raises(ModelError, match="narrower bounds"):
        dossier.propose(1)
    assert len(dossier.events) == before


def test_runs_of_a_day_and_runs_without_one() -> None:
    """Named days are certain; unnamed runs come in batches nobody knows the members of."""
    chance = same_day(["Mon", "mon ", "Tue", "", "", "", ""], 3)
    assert chance[0, 1] == 1.0
    assert chance[0, 2] == chance[0, 3] == 0.0
    assert chance[3, 4] == pytest.approx(2 / 3)
    assert (np.diag(chance) == 1.0).all()
    assert np.linalg.eigvalsh(chance).min() > -1e-12
    # nine runs in batches of three: the mean of their day effects has a third of its variance
    assert same_day([""] * 9, 3).mean() == pytest.approx(1 / 3)
    assert same_day([""], 3) == pytest.approx(1.0)


def test_unlike_vessels_show_in_the_scatter_that_is_planned_with() -> None:
    """Without runs the usual 3.5 %; two rings 10 % apart, pooled by hand."""
    assert vessel_rsd([], "a") == pytest.approx(0.035)
    readings = tuple(Recovery(p) for p in (85.0, 95.0) * 4)
    run = Result(40.0, "finished", {"a": readings}, {"a": False})
    squares = 8 * (5.0 / 90.0) ** 2
    wanted = np.sqrt((USUAL_DEGREES * 0.035**2 + 3 * squares) / (USUAL_DEGREES + 3 * 7))
    assert vessel_rsd([run] * 3, "a") == pytest.approx(wanted)
    low = replace(run, recovery={"a": tuple(Recovery(p) for p in (5.0, 25.0) * 4)})
    assert vessel_rsd([low, replace(run, outcome="boil-over")], "a") == pytest.approx(0.035)
