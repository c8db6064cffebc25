"""The operating region: the box lies inside, is as large as it can be, and says what breaks."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from experiments.entries import EntryError
from experiments.factor_space import coded, decoded
from experiments.region import operating_region, why_no_region
from experiments.region_lattice import Lattice
from experiments.sensitivity import drifts, what_fell

ASSURANCE = 0.95


@pytest.fixture
def region(fit, set_point):
    return operating_region(fit, set_point)


def test_every_setting_drawn_from_the_box_reaches_the_assurance(fit, region, set_point):
    """2 000 settings of another random stream than the one that checked the box."""
    rng = np.random.default_rng(99)
    settings = []
    for _ in range(2000):
        inside = {
            r.factor: decoded(f, rng.uniform(coded(f, r.low), coded(f, r.high)))
            for r in region.box for f in [fit.job.factor(r.factor)]
        }
        settings.append({**set_point, **inside})
    assert fit.probability(settings).min() >= ASSURANCE
    assert region.lowest >= ASSURANCE


def test_the_box_cannot_grow_by_much_on_any_side(fit, region, set_point):
    """One lattice step beyond a face that is not the end of the window, some corner fails."""
    limits = {r.factor: [r.low, r.high] for r in region.box}
    for r in region.box:
        factor = fit.job.factor(r.factor)
        for side, is_open in ((0, r.open_low), (1, r.open_high)):
            if is_open:
                continue
            step = -0.2 if side == 0 else 0.2
            moved = {**limits, r.factor: [decoded(factor, coded(factor, limits[r.factor][side])
                                                  + step)]}
            corners = [
                {**set_point, **dict(zip(moved, values, strict=True))}
                for values in itertools.product(*moved.values())
            ]
            assert fit.probability(corners).min() < ASSURANCE, (r.factor, side)


def test_the_largest_box_is_found_among_all_boxes(job, set_point):
    """Brute force over every box of a random small lattice, by counting nodes."""
    rng = np.random.default_rng(3)
    lattice = Lattice(job, set_point)
    lattice.axes = [a[:4] for a in lattice.axes]
    lattice.places = [p[:4] for p in lattice.places]
    lattice.shape, lattice.centre = (4, 4, 4), (1, 2, 1)
    lattice.needed = [(c, c) for c in lattice.centre]
    for _ in range(20):
        inside = rng.random((4, 4, 4)) < 0.8
        inside[lattice.centre] = True
        found = lattice.largest_box(inside)

        def volume(box):
            return float(np.prod([p[j] - p[i] + 1e-3 for p, (i, j)
                                  in zip(lattice.places, box, strict=True)]))

        spans = [[(i, j) for i in range(c + 1) for j in range(c, 4)] for c in lattice.centre]
        best = max(
            volume(box) for box in itertools.product(*spans)
            if inside[tuple(slice(i, j + 1) for i, j in box)].all()
        )
        assert inside[tuple(slice(i, j + 1) for i, j in found)].all()
        assert volume(found) == pytest.approx(best)


def test_a_box_that_holds_the_tolerance_comes_before_a_larger_one(job, set_point):
    """Also where no second node of the ramp lies inside with it: its side is sharpened later."""
    lattice = Lattice(job, set_point)
    inside = np.zeros(lattice.shape, dtype=bool)
    held = tuple(slice(i, j + 1) for i, j in lattice.needed)
    inside[held] = True
    inside[tuple(slice(0, c + 1) for c in lattice.centre)] = True
    found = lattice.largest_box(inside)
    assert inside[tuple(slice(i, j + 1) for i, j in found)].all()
    assert all(i <= low and high <= j
               for (i, j), (low, high) in zip(found, lattice.needed, strict=True))


def test_the_set_point_and_its_tolerance_lie_in_the_box(region, set_point):
    assert region.tolerance_inside
    assert all(r.low <= set_point[r.factor] <= r.high for r in region.box)


def test_proven_ranges_are_wider_than_the_box(region):
    """One factor at a time reaches further than all of them together."""
    for alone, joint in zip(region.proven, region.box, strict=True):
        assert alone.low <= joint.low + 1e-9
        assert alone.high >= joint.high - 1e-9


def test_a_proven_range_ends_where_the_assurance_does(fit, region, set_point):
    """The last value holds; a twentieth of the window and a step further it does not."""
    for r in region.proven:
        factor = fit.job.factor(r.factor)
        for end, is_open, way in ((r.low, r.open_low, -1), (r.high, r.open_high, 1)):
            assert fit.probability([{**set_point, r.factor: end}])[0] >= ASSURANCE
            if not is_open:
                beyond = decoded(factor, coded(factor, end + way) + 0.05 * way)
                assert fit.probability([{**set_point, r.factor: beyond}])[0] < ASSURANCE


def test_a_higher_assurance_never_enlarges_the_region(fit, set_point, region):
    fit.job = replace(fit.job, limits=replace(fit.job.limits, assurance=0.99))
    stricter = operating_region(fit, set_point)
    assert stricter.share <= region.share
    for a, b in zip(stricter.proven, region.proven, strict=True):
        assert b.low <= a.low + 1e-9
        assert a.high <= b.high + 1e-9


def test_no_side_of_the_box_is_longer_than_what_its_factor_keeps_alone(region):
    for together, alone in zip(region.box, region.proven, strict=True):
        assert alone.low <= together.low <= together.high <= alone.high


def test_ranges_are_given_in_whole_degrees_and_millibars(region):
    for r in (*region.box, *region.proven):
        assert r.low == round(r.low)
        assert r.high == round(r.high)


def test_a_setting_below_the_assurance_has_no_region(fit, set_point):
    fit.level = -9.0
    with pytest.raises(EntryError, match="less than the asked 95 %"):
        operating_region(fit, set_point)


def test_no_list_of_settings_is_asked_for_twice(fit, set_point, monkeypatch):
    lists, ask = [], fit.probability

    def probability(settings):
        lists.append([tuple(s.values()) for s in settings])
        return ask(settings)

    monkeypatch.setattr(fit, "probability", probability)
    operating_region(fit, set_point)
    assert lists[0] == [tuple(set_point.values())]
    assert all(asked not in lists[:n] for n, asked in enumerate(lists))


def test_without_a_range_there_is_no_region(fit, set_point):
    fixed = tuple(replace(f, low=f.low, high=f.low) for f in fit.job.factors)
    fit.job = replace(fit.job, factors=fixed)
    assert "No factor that has a range" in why_no_region(fit, set_point)
    with pytest.raises(EntryError, match="No factor that has a range"):
        operating_region(fit, set_point)


def test_slices_show_the_set_point(region, set_point):
    assert len(region.slices) == 3
    for s in region.slices:
        assert s.probability.shape == (len(s.y_values), len(s.x_values))
        x = int(np.argmin(abs(s.x_values - set_point[s.x])))
        y = int(np.argmin(abs(s.y_values - set_point[s.y])))
        assert s.probability[y, x] == pytest.approx(region.probability)


def test_the_drift_that_breaks_a_target_is_named(fit, set_point):
    found = drifts(fit, set_point)
    first = found[0]
    assert (first.factor, first.direction) == ("end_pressure_mbar", "down")
    assert first.breaks == "carvone"
    assert "breaks carvone first" in first.sentence
    below, above = ({**set_point, "end_pressure_mbar": first.at * k} for k in (0.93, 1.0))
    assert fit.probability([below])[0] < ASSURANCE <= fit.probability([above])[0]


def test_a_drift_breaks_what_it_cost_most_of_its_chance(fit, set_point):
    """Not what was as unlikely before it."""
    before = replace(fit.forecast([set_point])[0], boil_over_probability=0.04)
    after = replace(before, finish_probability=0.97)
    assert what_fell(fit.job, before, after) == "run time"
    assert what_fell(fit.job, before, before) == "boil-over"  # nothing fell: what is least likely


def test_coding_round_trips(job):
    for factor in job.free_factors:
        for place in np.linspace(0, 1, 7):
            assert coded(factor, decoded(factor, place)) == pytest.approx(place, abs=1e-12)
