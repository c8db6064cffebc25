"""A prior carried over: a mixture that the data can move away from."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from models import analyte_evidence as grid
from models.carried import CarriedPrior
from models.posterior import Likelihood, sample_posterior

PARAMETERS = 3


def carried(weight: float = 0.7) -> CarriedPrior:
    """The first parameter is known to be about 1.5, the third not at all."""
    return CarriedPrior(weight, np.array([1.5, -0.4, 0.0]), np.array([0.3, 0.5, 1.0]),
                        np.array([1.0, 0.0]), np.array([0.5, 1.0]))


def test_draws_are_the_mixture():
    prior = carried()
    z = prior.draw(40_000, PARAMETERS + 2, np.random.default_rng(1))
    assert z.shape == (40_000, PARAMETERS + 2)
    assert z[:, 0].mean() == pytest.approx(0.7 * 1.5, abs=0.02)
    variance = 0.7 * (0.3**2 + 1.5**2) + 0.3 - (0.7 * 1.5) ** 2
    assert z[:, 0].var() == pytest.approx(variance, rel=0.02)
    assert prior.holds(z) == pytest.approx(0.7, abs=0.01)
    assert z[:, 2:].std(axis=0) == pytest.approx([1.0] * 3, abs=0.02), "nothing carried there"


def test_the_density_is_the_mixture():
    z = np.random.default_rng(2).standard_normal((7, PARAMETERS + 2))
    usual = norm.pdf(z).prod(axis=1)
    held = norm.pdf(z[:, :3], [1.5, -0.4, 0.0], [0.3, 0.5, 1.0]).prod(axis=1)
    held *= norm.pdf(z[:, 3:]).prod(axis=1)
    found = carried().log_density(z)
    wanted = np.log(0.7 * held + 0.3 * usual)
    assert found - found[0] == pytest.approx(wanted - wanted[0], abs=1e-9)


@pytest.mark.parametrize(("truth", "error"), [(1.5, 0.2), (-1.5, 0.2), (0.9, 0.6)])
def test_the_runs_decide_as_bayes_would(truth, error):
    """One reading of the first parameter; the posterior share in closed form."""
    prior = carried()
    found = sample_posterior(
        Likelihood.plain(lambda z: norm.logpdf(truth, z[:, 0], error), PARAMETERS + 1),
        particles=1000,
        rng=np.random.default_rng(4), prior=prior)
    held = 0.7 * norm.pdf(truth, 1.5, np.hypot(0.3, error))
    usual = 0.3 * norm.pdf(truth, 0.0, np.hypot(1.0, error))
    assert prior.holds(found.z) == pytest.approx(held / (held + usual), abs=0.05)


def test_the_grid_gets_the_same_mixture():
    prior = np.exp(carried().log_node_prior())
    assert prior.sum(axis=1) == pytest.approx([1.0, 1.0])
    shape = (len(grid.VOLATILITY_NODES), -1)
    volatility = prior[0].reshape(shape).sum(axis=1)
    assert volatility @ grid.VOLATILITY_NODES == pytest.approx(0.7 * 1.0, abs=0.01)
    assert np.log(prior[1]) == pytest.approx(grid.log_prior()), "nothing known of the second"


def test_doubt_of_an_analyte_follows_its_draws():
    near, far = np.full((50, 2), 1.0), np.full((50, 2), -1.5)
    assert carried().volatility_holds(near)[0] > 0.8
    assert carried().volatility_holds(far)[0] < 0.01
    assert carried().volatility_holds(far)[1] == pytest.approx(0.7)


def test_nodes_are_drawn_from_the_prior():
    uniform = np.random.default_rng(2).random((20_000, 2))
    picked = grid.draw_prior_nodes(carried().log_node_prior(), uniform)
    volatility, _, ceiling = grid.node_values(picked)
    assert volatility.mean(axis=0) == pytest.approx([0.7, 0.0], abs=0.03)
    assert (ceiling == 1.0).mean() == pytest.approx(grid.CEILING_PRIOR[0], abs=0.01)
