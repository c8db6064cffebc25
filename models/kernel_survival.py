"""Compiled surviving fraction of analytes from what a run did to them."""

from __future__ import annotations

import numpy as np

from models.compilation import released
from models.film import film_left
from models.system import Array


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
            solvent = film_moles[i] + total - spike[a]
            rate = np.exp(ln_thermal_rate[i, a])
            mean = 0.0
            for k in range(classes):
                left = np.exp(-multiplier * exponent[i, k, a])
                loss = multiplier * film[i, k, a]
                if loss > 0.0 and left > 0.0:
                    start = spike[a] * left
                    left *= film_left(start, solvent, loss) / start
                mean += weights[k] * left * np.exp(-rate * dose[i, k])
            out[i, a] = ceiling[i, a] * mean
