"""Draws at settings are forgotten beyond the room for them, and come back as they were."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from experiments import fitted
from experiments.held_points import HeldPoints


class Ten:
    """Something of ten bytes."""

    size = 10


def test_what_was_asked_for_longest_ago_makes_room():
    held, values = HeldPoints[Ten](35), {k: Ten() for k in "abcd"}
    held.keep({k: values[k] for k in "abc"})
    assert held.at("abcd") == {k: values[k] for k in "abc"}
    held.keep(held.at("a"))
    held.keep({"d": values["d"]})
    assert list(held.at("abcd")) == ["a", "c", "d"]
    held.keep({})
    assert list(held.at("abcd")) == ["a", "c", "d"]


def test_more_at_once_than_there_is_room_for_is_given_all_the_same(dossier, monkeypatch):
    dossier.record("T1", run_time_min=41.0, recovery_percent={"diethyl phthalate": [88.0]})
    wide = dossier.fitted()
    settings = wide.space.spread(12, 3)
    whole = wide.points(settings)
    monkeypatch.setattr(fitted, "ROOM_BYTES", 3 * whole[0].size)
    narrow = fitted.Fitted(wide.job, wide.trials, wide.surrogate, wide.simulator)
    for again in (narrow.points(settings), [narrow.points([s])[0] for s in settings]):
        for one, other in zip(whole, again, strict=True):
            for field in fields(one):
                # a sum of other length of batch may differ in its last digits
                np.testing.assert_allclose(
                    getattr(one, field.name), getattr(other, field.name), rtol=1e-9, atol=1e-12)
    assert len(narrow._points.at(map(fitted.setting_key, settings))) == 3
