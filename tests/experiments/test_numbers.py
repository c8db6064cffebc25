"""Numbers on their way into and out of the fit: days of runs, forecasts that are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import Dossier
from experiments.readings import same_day
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
    fitted._points.clear()
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
