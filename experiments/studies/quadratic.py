"""Quadratic response surfaces by least squares: fit, prediction, canonical analysis."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from experiments.studies.designs import quadratic_terms
from models.system import Array


@dataclass(frozen=True, eq=False)
class Stationary:
    """Where the gradient of a quadratic vanishes, and what kind of point that is."""

    point: Array
    value: float
    eigenvalues: Array

    @property
    def nature(self) -> str:
        if (self.eigenvalues > 0).all():
            return "minimum"
        return "maximum" if (self.eigenvalues < 0).all() else "saddle"


@dataclass(frozen=True, eq=False)
class Quadratic:
    """A least-squares fit of y on a full quadratic in x, with optional block columns.

    ``coefficients`` [P + B] with blocks last, ``covariance`` of them with unit error
    variance, ``error`` the residual standard deviation with ``freedom`` degrees.
    """

    factors: int
    coefficients: Array
    covariance: Array
    error: float
    freedom: int
    r_squared: float

    @classmethod
    def fit(cls, x: Array, y: Array, blocks: Array | None = None) -> Quadratic:
        """Fit y [N] at x [N, D]; raises LinAlgError when the design cannot tell."""
        terms = quadratic_terms(x)
        matrix = terms if blocks is None else np.column_stack([terms, blocks])
        inverse = np.asarray(np.linalg.inv(matrix.T @ matrix), dtype=float)
        coefficients = inverse @ matrix.T @ y
        residual = y - matrix @ coefficients
        freedom = len(y) - matrix.shape[1]
        error = float(np.sqrt(residual @ residual / freedom)) if freedom > 0 else np.nan
        total = float(((y - y.mean()) ** 2).sum())
        r_squared = 1.0 - float(residual @ residual) / total if total > 0 else 1.0
        return cls(x.shape[1], coefficients, inverse, error, freedom, r_squared)

    def predict(self, x: Array) -> tuple[Array, Array]:
        """Mean [N] and leverage sqrt(x'(X'X)^-1 x) [N] at x [N, D] (block effects at 0)."""
        terms = quadratic_terms(x)
        count = terms.shape[1]
        mean = terms @ self.coefficients[:count]
        inner = self.covariance[:count, :count]
        return mean, np.sqrt(np.einsum("ni,ij,nj->n", terms, inner, terms))

    def stationary(self) -> Stationary:
        """The stationary point and the eigenvalues of the quadratic part."""
        k = self.factors
        slope = self.coefficients[1: 1 + k]
        matrix = np.diag(self.coefficients[1 + k + k * (k - 1) // 2:][:k])
        for value, (i, j) in zip(self.coefficients[1 + k:], combinations(range(k), 2),
                                 strict=False):
            matrix[i, j] = matrix[j, i] = value / 2.0
        point = np.asarray(np.linalg.solve(-2.0 * matrix, slope), dtype=float)
        mean, _ = self.predict(point[None, :])
        eigenvalues = np.asarray(np.linalg.eigvalsh(matrix)[::-1], dtype=float)
        return Stationary(point, float(mean[0]), eigenvalues)
