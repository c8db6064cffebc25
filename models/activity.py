"""Activity coefficients from group contributions: original and modified (Dortmund) UNIFAC.

Original: Aa. Fredenslund, R. Jones and J. Prausnitz, AIChE J. 21 (1975) 1086; modified:
J. Gmehling, J. Li and M. Schiller, Ind. Eng. Chem. Res. 32 (1993) 178. Groups and published
interactions are those distributed with the ``thermo`` library (open literature), packaged in
``data/unifac_groups.csv`` and ``data/unifac_interactions.csv``. A pair of main groups without
parameters is reported, never taken as zero.

Witnesses, asked where these two lack a pair or contradict each other: UNIFAC 2.0 and modified
UNIFAC 2.0, the same groups with interactions completed by matrix factorisation over the measured
data (N. Hayer, T. Wendel, S. Mandt, H. Hasse and F. Jirasek, Chem. Eng. J. 504 (2025) 158667;
citation from memory), in ``data/unifac_completed.csv``.

======== ================================ =====================
symbol   meaning                          shape
======== ================================ =====================
x        mole fractions                   [..., n]
nu       groups in each substance         [n, G]
psi      exp(-a(T)/T), rows act on        [G, G]
======== ================================ =====================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from models.substances import Substance, read_table
from models.system import Array

Model = Literal["dortmund", "original", "dortmund completed", "original completed"]
MODELS: tuple[Model, ...] = ("dortmund", "original")
COMPLETED: tuple[Model, ...] = ("dortmund completed", "original completed")


@dataclass(frozen=True)
class Group:
    """A structural group: its main group, volume R and surface Q."""

    main: int
    R: float
    Q: float


def _family(model: Model) -> str:
    """The model whose groups and formula are used."""
    return model.split()[0]


@lru_cache(maxsize=4)
def _groups(model: Model) -> dict[int, Group]:
    return {
        int(row["group"]): Group(int(row["main_group"]), float(row["R"]), float(row["Q"]))
        for row in read_table("unifac_groups.csv")
        if row["model"] == _family(model)
    }


@lru_cache(maxsize=4)
def _interactions(model: Model) -> dict[tuple[int, int], tuple[float, float, float]]:
    table = "unifac_completed.csv" if model in COMPLETED else "unifac_interactions.csv"
    return {
        (int(row["first"]), int(row["second"])): (
            float(row["a"]), float(row["b"]), float(row["c"]))
        for row in read_table(table)
        if row["model"] == model
    }


def groups_of(substance: Substance, model: Model) -> dict[int, int]:
    """Subgroup counts of a substance; empty when it cannot be split."""
    return substance.unifac_dortmund if _family(model) == "dortmund" else substance.unifac


def missing_pairs(substances: Sequence[Substance], model: Model) -> tuple[tuple[int, int], ...]:
    """Pairs of main groups that the mixture needs and the model has no parameters for."""
    table, known = _groups(model), _interactions(model)
    mains = sorted({table[g].main for s in substances for g in groups_of(s, model)})
    return tuple(
        (i, j) for k, i in enumerate(mains) for j in mains[k + 1 :]
        if (i, j) not in known or (j, i) not in known
    )


def covers(substances: Sequence[Substance], model: Model) -> bool:
    """Whether every substance has groups and every pair of groups has parameters."""
    table = _groups(model)
    split = all(
        groups_of(s, model) and all(g in table for g in groups_of(s, model)) for s in substances
    )
    return split and not missing_pairs(substances, model)


@dataclass(frozen=True, eq=False)
class GroupModel:
    """UNIFAC of one mixture, arrays ready for evaluation."""

    nu: Array
    R: Array
    Q: Array
    a: Array
    b: Array
    c: Array
    power: float

    def ln_gamma(self, x: Array, T: float) -> Array:
        """ln(gamma) [..., n] at mole fractions x [..., n] and T in K."""
        x = np.asarray(x, dtype=float)
        r, q = self.nu @ self.R, self.nu @ self.Q
        rp = r**self.power
        V = r / np.sum(x * r, axis=-1, keepdims=True)
        Vp = rp / np.sum(x * rp, axis=-1, keepdims=True)
        F = q / np.sum(x * q, axis=-1, keepdims=True)
        combinatorial = 1.0 - Vp + np.log(Vp) - 5.0 * q * (1.0 - V / F + np.log(V / F))
        psi = np.exp(-(self.a + self.b * T + self.c * T**2) / T)
        mixed = self._ln_group(x @ self.nu, psi)
        pure = self._ln_group(self.nu, psi)
        residual = mixed @ self.nu.T - np.sum(self.nu * pure, axis=-1)
        return np.asarray(combinatorial + residual)

    def _ln_group(self, amounts: Array, psi: Array) -> Array:
        surface = amounts * self.Q
        theta = surface / np.sum(surface, axis=-1, keepdims=True)
        S = theta @ psi
        return np.asarray(self.Q * (1.0 - np.log(S) - (theta / S) @ psi.T))


def group_model(substances: Sequence[Substance], model: Model) -> GroupModel:
    """Pack the mixture for evaluation; check :func:`covers` first."""
    table, known = _groups(model), _interactions(model)
    groups = sorted({g for s in substances for g in groups_of(s, model)})
    nu = np.array([[float(groups_of(s, model).get(g, 0)) for g in groups] for s in substances])
    mains = [table[g].main for g in groups]
    values = np.array([
        [(0.0, 0.0, 0.0) if i == j else known[i, j] for j in mains] for i in mains
    ])
    return GroupModel(
        nu,
        np.array([table[g].R for g in groups]),
        np.array([table[g].Q for g in groups]),
        values[..., 0], values[..., 1], values[..., 2],
        0.75 if _family(model) == "dortmund" else 1.0,
    )
