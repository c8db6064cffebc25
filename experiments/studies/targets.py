"""Analytes and targets that give a bench a feasible region of the wanted size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.system import Array, Mask

KINDS = ("trivial", "easy", "medium", "hard", "impossible")
SHARES = (0.08, 0.24, 0.36, 0.22, 0.10)
REGION = {
    "trivial": (0.25, 0.99),
    "easy": (0.10, 0.30),
    "medium": (0.03, 0.10),
    "hard": (0.007, 0.03),
}
SLACK = (3.0, 10.0)  # points a target is set below what many settings give
HEADROOM = 3.0  # points some setting must give above the deciding target
USUAL = tuple(float(t) for t in range(95, 45, -5))


@dataclass(frozen=True, eq=False)
class Choice:
    """Targets [A] in percent; which analyte decides; margin of an impossible job, points."""

    targets: Array
    decisive: int
    margin: float


def choose_analytes(
    mean: Array, finished: Mask, rng: np.random.Generator
) -> list[int] | None:
    """Indices of 1 to 6 analytes, the first of them clearly dependent on the setting.

    ``mean`` [N, C] percent over the calibration settings.
    """
    if finished.sum() < 25:
        return None
    low, high = np.quantile(mean[finished], [0.1, 0.9], axis=0)
    decisive = np.flatnonzero((high - low > 8.0) & (high > 60.0))
    if len(decisive) == 0:
        return None
    first = int(rng.choice(decisive))
    others = [int(i) for i in rng.permutation(mean.shape[1]) if i != first and high[i] > 50.0]
    return [first, *others[: int(rng.integers(0, 6))]]


def choose_targets(
    mean: Array, finished: Mask, kind: str, rng: np.random.Generator
) -> Choice | None:
    """Targets [A] for analytes of which the first decides; None when nothing suits.

    The usual multiples of five come first; whole numbers where none of them gives a region
    of the wanted size.
    """
    targets = np.empty(mean.shape[1])
    for a in range(1, mean.shape[1]):
        level = float(np.quantile(mean[finished, a], rng.uniform(0.05, 0.6)))
        below = level - rng.uniform(*SLACK)
        targets[a] = float(np.clip(5.0 * np.floor(below / 5.0), 40.0, 95.0))
    if kind == "impossible":
        targets[0] = 50.0
        return Choice(targets, 0, float(rng.uniform(4.0, 15.0)))
    rest = finished & np.asarray((mean[:, 1:] >= targets[1:]).all(axis=1))
    if not rest.any():
        return None
    ceiling = float(mean[rest, 0].max()) - HEADROOM
    low, high = REGION[kind]
    every = [float(t) for t in rng.permutation(np.arange(50.0, 98.0))]
    for target in (*rng.permutation(USUAL), *every):
        targets[0] = target
        share = float((rest & (mean[:, 0] >= target)).mean())
        if target <= ceiling and low <= share <= high:
            return Choice(targets, 0, 0.0)
    return None
