"""The posterior of both examples against long Markov chains of ``emcee``.

    python -m experiments.studies.long_chain

The surrogate keeps about a hundred draws from a short tempered sampler; an ensemble of chains
(Foreman-Mackey et al. 2013, PASP 125:306) takes the same likelihood thousands of times. Printed
for each case: how far the means of the parameters lie apart, in posterior standard
deviations, and the probability of meeting every target at several settings from both.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from experiments import example_dossiers, service
from experiments.bootstrap import local_user
from experiments.fitted import Fitted
from experiments.storage.memory import MemoryStore
from models.parameters import NAMES
from models.system import Array

WALKERS = 96
KEPT = 480
"""Draws of the chains that predict."""
SETTINGS = 12


@dataclass(frozen=True, eq=False)
class Agreement:
    """One case: ``apart`` [K] in standard deviations, probabilities [M] of both samplers."""

    apart: Array
    short: Array
    long: Array
    autocorrelation: float


def compare(fitted: Fitted, steps: int, seed: int = 1) -> Agreement:
    """Run the chains for that many steps, the first half of which is thrown away."""
    import emcee  # a test dependency, asked for only here

    surrogate = copy(fitted.surrogate)
    z, likelihood = surrogate.posterior_.z, surrogate.likelihood_.staged()

    def log_posterior(at: Array) -> Array:
        return np.asarray(likelihood(at) - 0.5 * np.sum(at**2, axis=1))

    np.random.seed(seed)  # noqa: NPY002 - emcee draws from the global state
    sampler = emcee.EnsembleSampler(
        WALKERS, z.shape[1], log_posterior, vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.6), (emcee.moves.DESnookerMove(), 0.1),
               (emcee.moves.StretchMove(), 0.3)],
    )
    sampler.run_mcmc(z[:WALKERS], steps)
    chain = sampler.get_chain(discard=steps // 2, flat=True)
    lag = sampler.get_autocorr_time(discard=steps // 2, quiet=True, tol=0)
    surrogate.use_draws(chain[:: max(1, len(chain) // KEPT)], np.random.default_rng(seed))
    settings = fitted.leaders(fitted.candidates, SETTINGS // 3)
    chained = Fitted(fitted.job, fitted.trials, surrogate, fitted.simulator)
    apart = (z.mean(axis=0) - chain.mean(axis=0)) / chain.std(axis=0)
    return Agreement(np.asarray(apart), fitted.probability(settings),
                     chained.probability(settings), float(np.nanmax(lag)))


def example(key: str) -> Fitted:
    """An example with all its trials learnt from."""
    store, user = MemoryStore(), local_user()
    dossier_id = example_dossiers.load(store, key, user)
    return service.load(service.Session(store, user), dossier_id).fitted()


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--steps", type=int, default=1500)
    steps = parser.parse_args(argv).steps
    for name in (e.key for e in example_dossiers.names()):
        found = compare(example(name), steps)
        worst = int(np.argmax(np.abs(found.apart[: len(NAMES)])))
        print(f"{name}: {WALKERS} walkers, {steps} steps, longest autocorrelation "
              f"{found.autocorrelation:.0f} steps")
        print(f"  parameters: median {np.median(np.abs(found.apart)):.2f} sd apart, "
              f"most {found.apart[worst]:+.2f} ({NAMES[worst]})")
        print("  probabilities, short sampler:", *(f"{p:.3f}" for p in found.short))
        print("  probabilities, long chains:  ", *(f"{p:.3f}" for p in found.long))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
