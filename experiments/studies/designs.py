"""Classical designs in coded units: Box-Behnken, central composite, D-optimal exchange."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np

from models.system import Array


def box_behnken(factors: int, centre: int = 0) -> Array:
    """Box-Behnken design [N, D] in -1, 0, 1 for 3 to 5 factors, with centre points.

    Every pair of factors at its four corners, the others at 0 (NIST/SEMATECH e-Handbook
    5.3.3.6.2: 12, 24 and 40 runs without centre points).
    """
    if not 3 <= factors <= 5:
        raise ValueError("Box-Behnken designs by pairs exist for 3 to 5 factors.")
    rows = []
    for i, j in combinations(range(factors), 2):
        for a, b in product((-1.0, 1.0), repeat=2):
            row = np.zeros(factors)
            row[i], row[j] = a, b
            rows.append(row)
    return np.vstack([*rows, np.zeros((centre, factors))])


def rotatable_distance(factors: int) -> float:
    """Axial distance of a rotatable central composite design, (2^k)^(1/4)."""
    return float((2.0**factors) ** 0.25)


def central_composite(factors: int, alpha: float, centre: int = 0) -> Array:
    """Full-factorial central composite design [N, D]: corners, axial points, centre."""
    corners = np.array(list(product((-1.0, 1.0), repeat=factors)))
    axial = np.vstack([s * alpha * np.eye(factors)[k] for k in range(factors) for s in (-1, 1)])
    return np.vstack([corners, axial, np.zeros((centre, factors))])


def quadratic_terms(x: Array) -> Array:
    """[N, P] model matrix of a full quadratic: 1, x, cross products, squares."""
    x = np.atleast_2d(x)
    count = x.shape[1]
    cross = [x[:, i] * x[:, j] for i, j in combinations(range(count), 2)]
    return np.column_stack([np.ones(len(x)), x, *cross, *(x[:, i] ** 2 for i in range(count))])


def d_optimal(terms: Array, runs: int, seed: int = 0, starts: int = 20) -> list[int]:
    """Rows of a candidate model matrix [C, P] that maximise det X'X (Fedorov exchange)."""
    rng = np.random.default_rng(seed)
    best: tuple[float, list[int]] = (-np.inf, [])
    for _ in range(starts):
        chosen = list(rng.choice(len(terms), size=runs, replace=False))
        value = _ln_det(terms[chosen])
        improved = True
        while improved:
            improved = False
            for k in range(runs):
                trials = [_ln_det(terms[[*chosen[:k], c, *chosen[k + 1:]]])
                          for c in range(len(terms))]
                c = int(np.argmax(trials))
                if trials[c] > value + 1e-10:
                    chosen[k], value, improved = c, trials[c], True
        if value > best[0]:
            best = (value, sorted(int(c) for c in chosen))
    return best[1]


def _ln_det(x: Array) -> float:
    sign, value = np.linalg.slogdet(x.T @ x)
    return float(value) if sign > 0 else -np.inf


def efficiencies(x: Array, everywhere: Array) -> dict[str, float]:
    """D, A and G efficiency in percent, and the root mean variance of prediction.

    ``x`` [N, P] is the design's model matrix, ``everywhere`` [C, P] the candidates'
    (definitions of the NIST/SEMATECH e-Handbook 5.5.2.1; unit error variance).
    """
    runs, terms = x.shape
    inverse = np.linalg.inv(x.T @ x)
    variance = np.einsum("ni,ij,nj->n", everywhere, inverse, everywhere)
    return {
        "d": 100.0 * float(np.linalg.det(x.T @ x)) ** (1.0 / terms) / runs,
        "a": 100.0 * terms / float(np.trace(runs * inverse)),
        "g": 100.0 * float(np.sqrt(terms / runs / variance.max())),
        "prediction": float(np.sqrt(variance.mean())),
    }
