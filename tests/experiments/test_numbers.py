"""A forecast that is no number is refused before anything is built on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from experiments import Dossier
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
