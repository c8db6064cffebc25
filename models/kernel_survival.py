"""Compiled surviving fraction of analytes from what a run did to them.

======== ====================================================== ===========
symbol   meaning                                                shape
======== ====================================================== ===========
exponent -ln survival while liquid, at volatility multiplier 1  [N, 3, A]
film     mol a pure film would have lost, at multiplier 1       [N, 3, A]
dose     thermal dose, s at 313.15 K                            [N, 3]
======== ====================================================== ===========
"""

from __future__ import annotations

import numpy as np
from numba import prange

from models.compilation import inlined, parallel, released
from models.film import film_left
from models.system import Array


@inlined
def volatility_left(exponent: float, film: float, solvent: float, spike: float,
                    multiplier: float) -> float:
    """Share of an analyte that boiling and the dry film leave in a vessel.

    ``solvent`` is what the film is dissolved in, mol: residue, keeper and the other spikes.
    """
    left = np.exp(-multiplier * exponent)
    loss = multiplier * film
    if loss > 0.0 and left > 0.0:
        left = film_left(spike * left, solvent, loss) / spike
    return left


@released
def survive(
    exponent: Array, film: Array, dose: Array, film_moles: Array, weights: Array, spike: Array,
    ln_volatility: Array, ceiling: Array, ln_thermal_rate: Array, out: Array,
) -> None:
    """Write the mean over classes [N, A] into ``out``; see ``run_model.surviving_fraction``."""
    runs, classes, analytes = exponent.shape
    total = np.sum(spike)
    for i in range(runs):
        for a in range(analytes):
            multiplier = np.exp(ln_volatility[i, a])
            solvent = film_moles[i, a] + total - spike[a]
            rate = np.exp(ln_thermal_rate[i, a])
            mean = 0.0
            for k in range(classes):
                left = volatility_left(
                    exponent[i, k, a], film[i, k, a], solvent, spike[a], multiplier)
                mean += weights[k] * left * np.exp(-rate * dose[i, k])
            out[i, a] = ceiling[i, a] * mean


@parallel
def survival_table(
    exponent: Array, film: Array, dose: Array, film_moles: Array, weights: Array, spike: Array,
    multiplier: Array, rates: Array,
) -> Array:
    """Surviving fraction [N, A, G, T] for multipliers [A, G] and thermal rates [T], 1/s."""
    runs, classes, analytes = exponent.shape
    out = np.zeros((runs, analytes, multiplier.shape[1], rates.shape[0]))
    total = np.sum(spike)
    for i in prange(runs):
        for k in range(classes):
            decay = weights[k] * np.exp(-rates * dose[i, k])
            for a in range(analytes):
                solvent = film_moles[i, a] + total - spike[a]
                for g in range(multiplier.shape[1]):
                    left = volatility_left(
                        exponent[i, k, a], film[i, k, a], solvent, spike[a], multiplier[a, g])
                    for t in range(rates.shape[0]):
                        out[i, a, g, t] += left * decay[t]
    return out
