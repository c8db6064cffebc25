"""Handbook designs; NIST/SEMATECH e-Handbook sections as named, pyDOE3 as second route."""

from __future__ import annotations

from itertools import product

import numpy as np
import pyDOE3
import pytest

from experiments.studies.designs import (
    box_behnken,
    central_composite,
    d_optimal,
    efficiencies,
    rotatable_distance,
)


def _as_set(design: np.ndarray) -> set[tuple[float, ...]]:
    return {tuple(np.round(row, 9)) for row in design}


@pytest.mark.parametrize(
    ("factors", "alpha", "runs"),
    [(2, 1.41421, 8), (3, 1.68179, 14), (4, 2.0, 24), (5, 2.37841, 42)],
)
def test_central_composite_is_rotatable(factors: int, alpha: float, runs: int) -> None:
    # NIST e-Handbook 5.3.3.6.1 (grade C, recalled and reproduced)
    assert rotatable_distance(factors) == pytest.approx(alpha, abs=6e-6)
    design = central_composite(factors, rotatable_distance(factors))
    assert design.shape == (runs, factors)
    second = pyDOE3.ccdesign(factors, center=(0, 1), alpha="rotatable", face="circumscribed")
    assert _as_set(design) == _as_set(second[np.abs(second).sum(axis=1) > 0])
    # rotatable: fourth moments satisfy sum x1^4 = 3 sum x1^2 x2^2
    moment = (design[:, 0] ** 4).sum(), (design[:, 0] ** 2 * design[:, 1] ** 2).sum()
    assert moment[0] == pytest.approx(3.0 * moment[1])


@pytest.mark.parametrize(("factors", "runs"), [(3, 12), (4, 24), (5, 40)])
def test_box_behnken_has_no_corners(factors: int, runs: int) -> None:
    # NIST e-Handbook 5.3.3.6.2 (grade A for the geometry)
    design = box_behnken(factors)
    assert design.shape == (runs, factors)
    np.testing.assert_allclose(np.linalg.norm(design, axis=1), np.sqrt(2.0))
    assert _as_set(design) == _as_set(pyDOE3.bbdesign(factors, center=0))
    with_centre = box_behnken(factors, centre=3)
    assert len(with_centre) == runs + 3
    assert (with_centre[-3:] == 0).all()


def test_box_behnken_by_pairs_stops_at_five_factors() -> None:
    with pytest.raises(ValueError, match="3 to 5 factors"):
        box_behnken(6)


def test_d_optimal_exchange_finds_the_handbook_design() -> None:
    # NIST e-Handbook 5.5.2.1 (grade C): 12 of 20 candidates, model 1, x1, x2, x3, x1^2
    points = np.array(list(product((-1.0, -0.5, 0.0, 0.5, 1.0), (-1.0, 1.0), (-1.0, 1.0))))
    terms = np.column_stack([np.ones(20), points, points[:, 0] ** 2])
    chosen = d_optimal(terms, 12)
    figures = efficiencies(terms[chosen], terms)
    assert figures["d"] == pytest.approx(68.2558, abs=1e-3)
    assert figures["a"] == pytest.approx(45.4545, abs=1e-3)
    assert figures["g"] == pytest.approx(100.0, abs=1e-3)
    assert figures["prediction"] == pytest.approx(0.6233, abs=1e-4)
    assert _as_set(points[chosen]) == set(product((-1.0, 0.0, 1.0), (-1.0, 1.0), (-1.0, 1.0)))
