"""Tempered sequential Monte Carlo against closed forms and long Markov chains (emcee)."""

from __future__ import annotations

import emcee
import numpy as np
import pytest

from models.posterior import Likelihood, Stage, sample_posterior


@pytest.mark.parametrize("leading", [5, 2])
def test_linear_gaussian_posterior_and_evidence_match_the_closed_form(leading: int) -> None:
    """In two stages, of which the second uses again what the first left."""
    rng = np.random.default_rng(3)
    design, noise = rng.normal(size=(5, 6)), 0.2
    data = design @ rng.normal(size=6)

    def of_leading(z: np.ndarray, _: object) -> tuple[np.ndarray, ...]:
        return (z[:, :leading] @ design[:, :leading].T,)

    def weigh(z: np.ndarray, earlier: tuple[tuple[np.ndarray, ...], ...]) -> tuple[np.ndarray]:
        predicted = earlier[0][0] + z[:, leading:] @ design[:, leading:].T
        return (-0.5 * np.sum((predicted - data) ** 2, axis=1) / noise**2,)

    posterior = sample_posterior(
        Likelihood((Stage(leading, 1, of_leading), Stage(6, 2, weigh))),
        particles=2000, moves=6, rng=np.random.default_rng(1),
    )
    covariance = np.linalg.inv(np.eye(6) + design.T @ design / noise**2)
    mean = covariance @ design.T @ data / noise**2
    marginal = design @ design.T + noise**2 * np.eye(5)
    evidence = -0.5 * data @ np.linalg.solve(marginal, data) - 0.5 * np.linalg.slogdet(
        marginal / noise**2
    )[1]
    spread = np.sqrt(np.diag(covariance))
    # Monte Carlo error of 2000 draws: 1/sqrt(2000) = 0.022 sd, four of those and some drift
    assert np.abs((posterior.z.mean(axis=0) - mean) / spread).max() < 0.15
    assert posterior.z.std(axis=0) == pytest.approx(spread, rel=0.15)
    assert posterior.log_evidence == pytest.approx(evidence, abs=0.5)


def _banana(z: np.ndarray) -> np.ndarray:
    return -0.5 * ((z[:, 1] - z[:, 0] ** 2) / 0.2) ** 2 - 0.5 * ((z[:, 2] + z[:, 0]) / 0.3) ** 2


BANANA = Likelihood.plain(_banana, 3)


def _two_explanations(z: np.ndarray) -> np.ndarray:
    return -0.5 * ((np.abs(z[:, 0] * z[:, 1]) - 1.0) / 0.15) ** 2


@pytest.mark.parametrize("log_likelihood", [_banana, _two_explanations])
def test_strongly_curved_posteriors_match_a_long_chain(log_likelihood) -> None:  # noqa: ANN001
    """Two non-linear cases against emcee (Foreman-Mackey et al. 2013), 64 x 4000 draws."""
    posterior = sample_posterior(
        Likelihood.plain(log_likelihood, 3), particles=2000, moves=8,
        rng=np.random.default_rng(5),
    )
    sampler = emcee.EnsembleSampler(
        64, 3, lambda z: log_likelihood(z) - 0.5 * np.sum(z**2, axis=1), vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.7), (emcee.moves.StretchMove(), 0.3)],
    )
    start = np.random.default_rng(6).normal(size=(64, 3))
    np.random.seed(7)  # noqa: NPY002 - emcee draws from the global state
    sampler.run_mcmc(start, 5000)
    chain = sampler.get_chain(discard=1000, flat=True)
    for draws in (np.abs, np.square):
        ours, theirs = draws(posterior.z), draws(chain)
        scale = theirs.std(axis=0)
        assert np.abs((ours.mean(axis=0) - theirs.mean(axis=0)) / scale).max() < 0.12
    assert posterior.z[:, 0].std() == pytest.approx(chain[:, 0].std(), rel=0.1)


def test_a_short_sampler_keeps_the_spread_of_what_the_data_say_nothing_about() -> None:
    """As many particles and moves as a fit takes; 3 of 20 parameters are pinned down."""

    def log_likelihood(z: np.ndarray) -> np.ndarray:
        return -0.5 * np.sum((z[:, :3] - [1.0, -0.5, 0.5]) ** 2, axis=1) / 0.1**2

    draws = np.array([
        sample_posterior(
            Likelihood.plain(log_likelihood, 20), particles=112, moves=2,
            rng=np.random.default_rng(seed),
        ).z for seed in range(8)
    ])
    assert draws[:, :, 3:].std(axis=1).mean() == pytest.approx(1.0, abs=0.07)
    # a mean of 112 independent draws lies 1/sqrt(112) = 0.094 from 0
    assert np.sqrt((draws[:, :, 3:].mean(axis=1) ** 2).mean()) < 0.2
    assert draws[:, :, :3].std(axis=1).mean() == pytest.approx(0.1, abs=0.03)


def test_same_seed_gives_the_same_draws() -> None:
    draws = [
        sample_posterior(BANANA, particles=64, rng=np.random.default_rng(9)).z
        for _ in range(2)
    ]
    assert np.array_equal(*draws)


def test_progress_can_stop_the_sampler() -> None:
    class Stopped(Exception):
        pass

    def stop(_: float) -> None:
        raise Stopped

    with pytest.raises(Stopped):
        sample_posterior(BANANA, particles=64, rng=np.random.default_rng(1), on_step=stop)
