"""The grid over analyte parameters and the common effects, against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, norm

from models import analyte_evidence as grid
from models.discrepancy import Kinship
from models.kernel_survival import survival_table, survive
from models.noise import DAY_SHARE, expected_reading, stabilised

DAY = 0.05
NODES = (len(grid.VOLATILITY_NODES), len(grid.THERMAL_RATES), len(grid.CEILINGS))


def make_table(rng: np.random.Generator, runs: int, analytes: int) -> np.ndarray:
    """Surviving fractions [1, n, A, G, T] of made-up runs."""
    multiplier = np.tile(np.exp(0.5 * grid.VOLATILITY_NODES), (analytes, 1))
    table = survival_table(
        0.3 * rng.random((runs, 3, analytes)), 2e-9 * rng.random((runs, 3, analytes)),
        4000.0 * rng.random((runs, 3)), np.full((runs, analytes), 1e-7), np.full(3, 1 / 3),
        np.full(analytes, 1e-8), multiplier, grid.THERMAL_RATES,
    )
    return table[None]


def node_values(table: np.ndarray, analyte: int) -> np.ndarray:
    """Stabilised recovery [K, n] of every node of one analyte."""
    alive = table[0, :, analyte]  # [n, G, T]
    recovery = alive[..., None] * grid.CEILINGS
    return expected_reading(recovery).reshape(len(alive), -1).T


def evidence_of(table, seen, var, amp, shared):  # noqa: ANN001, ANN202
    runs = len(seen)
    d2 = np.subtract.outer(np.arange(runs), np.arange(runs)) ** 2.0
    return grid.analyte_evidence(
        table, seen, var[None], Kinship(d2, same_day(runs)), np.array([amp]), np.array([1.0]),
        np.array([DAY]), np.array([shared]), grid.CEILINGS[None],
        np.tile(grid.log_prior(), (seen.shape[1], 1)), np.arange(table.shape[2]),
    )


def same_day(runs: int) -> np.ndarray:
    """Runs in pairs of a day."""
    return np.kron(np.eye(runs), np.ones((2, 2)))[:runs, :runs]


def test_one_analyte_is_the_sum_over_the_grid() -> None:
    """Discrepancy and common effect add to the covariance; nodes are summed by hand."""
    rng = np.random.default_rng(8)
    table = make_table(rng, 4, 1)
    seen, var, amp, shared = rng.uniform(10, 14, (4, 1)), rng.uniform(0.3, 0.6, (4, 1)), 0.4, 0.7
    evidence, _, _ = evidence_of(table, seen, var, amp, shared)
    d2 = np.subtract.outer(np.arange(4), np.arange(4)) ** 2.0
    together = DAY + DAY_SHARE * shared**2
    covariance = amp**2 * np.exp(-0.5 * d2) + together * same_day(4)
    covariance += np.diag(var[:, 0] + (1.0 - DAY_SHARE) * shared**2)
    density = multivariate_normal(np.zeros(4), covariance)
    terms = grid.log_prior() + density.logpdf(seen[:, 0] - node_values(table, 0))
    assert evidence[0] - 2.0 * np.log(2 * np.pi) == pytest.approx(logsumexp(terms), abs=1e-6)


def test_common_effects_match_numerical_integration() -> None:
    """Two analytes of one run: evidence and moments of c by quadrature over c."""
    rng = np.random.default_rng(5)
    table = make_table(rng, 1, 2)
    var, shared = np.array([[0.5, 0.4]]), 0.8
    usual = [float(np.exp(grid.log_prior()) @ node_values(table, a)[:, 0]) for a in range(2)]
    seen = np.array([[usual[0] - 0.8, usual[1] - 0.5]])
    evidence, effect, spread = evidence_of(table, seen, var, 1e-6, shared)
    c = np.linspace(-7.0, 7.0, 4001)
    log_density = norm.logpdf(c)
    for a in range(2):
        off = seen[0, a] - shared * c[:, None] - node_values(table, a)[:, 0]
        terms = grid.log_prior() + norm.logpdf(off, scale=np.sqrt(var[0, a] + DAY))
        log_density = log_density + logsumexp(terms, axis=1)
    density = np.exp(log_density)
    total = np.trapezoid(density, c)
    mean = np.trapezoid(c * density, c) / total
    variance = np.trapezoid((c - mean) ** 2 * density, c) / total
    # the mixture of the first analyte is replaced by a normal with its moments
    assert evidence[0] - np.log(2 * np.pi) == pytest.approx(np.log(total), abs=0.05)
    assert effect[0, 0] == pytest.approx(mean, abs=0.05)
    assert spread[0, 0, 0] == pytest.approx(variance, rel=0.1)


def test_a_low_run_of_all_analytes_is_put_down_to_the_run() -> None:
    """Four analytes 1.5 units below two good runs, of which the prior takes back a part."""
    rng = np.random.default_rng(3)
    table = make_table(rng, 3, 4)
    table[:, 1:] = table[:, :1]
    seen = np.tile(stabilised(np.full(4, 0.93)), (3, 1))
    seen[2] -= 1.5
    _, effect, spread = evidence_of(table, seen, np.full((3, 4), 0.5), 0.3, 0.7)
    assert effect[0, 2] < -0.5
    assert abs(effect[0, 0] - effect[0, 1]) < 0.05
    assert effect[0, 0] > effect[0, 2] + 0.8
    assert np.linalg.eigvalsh(spread[0]).min() > 0.0
    assert np.diag(spread[0]).max() < 1.0


def test_a_lost_analyte_does_not_excuse_the_others() -> None:
    """Far below what its run can explain, a reading moves the common effect less, not more."""
    rng = np.random.default_rng(6)
    table = make_table(rng, 2, 2)
    usual = np.array([
        [float(np.exp(grid.log_prior()) @ node_values(table, a)[:, i]) for a in range(2)]
        for i in range(2)
    ])
    effects = []
    for drop in (0.0, 1.5, 4.0, 8.0):
        seen = usual.copy()
        seen[1, 0] -= drop
        effects.append(float(evidence_of(table, seen, np.full((2, 2), 0.5), 0.3, 0.7)[1][0, 1]))
    assert effects[1] < effects[0]
    assert min(effects) > 1.5 * effects[1]  # negative: what a lost analyte does is bounded


def test_drawn_nodes_follow_their_weights() -> None:
    rng = np.random.default_rng(9)
    table = np.repeat(make_table(rng, 2, 1), 4000, axis=0)
    seen, var = np.full((4000, 2, 1), 11.5), np.full((4000, 2, 1), 0.5)
    picked = grid.draw_nodes(
        table, seen, var, Kinship(np.ones((2, 2)), np.eye(2)), np.full(4000, 1e-6),
        np.ones(4000), np.zeros(4000), np.tile(grid.CEILINGS, (4000, 1)), grid.log_prior()[None],
        rng.random((4000, 1)),
    )
    values = node_values(table[:1], 0)
    weight = grid.log_prior() - 0.5 * np.sum((11.5 - values) ** 2, axis=1) / 0.5
    weight = np.exp(weight - logsumexp(weight))
    expected = weight.reshape(NODES).sum(axis=(0, 1))  # of the ceilings
    share = np.bincount(np.unravel_index(picked[:, 0], NODES)[2], minlength=NODES[2]) / 4000
    assert share == pytest.approx(expected, abs=0.03)  # four standard errors


def test_the_table_agrees_with_single_survivals() -> None:
    rng = np.random.default_rng(1)
    exponent, film = rng.random((30, 3, 2)), 1e-7 * rng.random((30, 3, 2))
    dose, moles = 5e3 * rng.random((30, 3)), np.full((30, 2), [1e-6, 3e-6])
    weights = np.array([0.2, 0.5, 0.3])
    spike, ln_volatility = np.array([5e-8, 2e-8]), np.array([-1.0, 0.4])
    table = survival_table(exponent, film, dose, moles, weights, spike,
                           np.exp(ln_volatility)[:, None], np.array([1.5e-5]))
    out = np.empty((30, 2))
    survive(exponent, film, dose, moles, weights, spike, np.tile(ln_volatility, (30, 1)),
            np.ones((30, 2)), np.full((30, 2), np.log(1.5e-5)), out)
    assert table[:, :, 0, 0] == pytest.approx(out, rel=1e-12)


def test_surviving_fraction_falls_with_volatility_and_never_leaves_zero_to_one() -> None:
    rng = np.random.default_rng(1)
    table = survival_table(
        rng.random((30, 3, 2)), 1e-7 * rng.random((30, 3, 2)), np.zeros((30, 3)),
        np.full((30, 2), 1e-6), np.full(3, 1 / 3), np.full(2, 5e-8),
        np.tile(np.exp(np.linspace(-3, 3, 9)), (2, 1)), np.array([0.0, 1e-5]),
    )
    assert (np.diff(table, axis=2) <= 1e-12).all()
    assert table.min() >= 0.0
    assert table.max() <= 1.0 + 1e-12


def test_prior_weights_sum_to_one() -> None:
    assert np.exp(grid.log_prior()).sum() == pytest.approx(1.0)
