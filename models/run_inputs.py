"""Settings and parameters of runs, checked and brought to one shape."""

from __future__ import annotations

from typing import Final

import numpy as np

from models.equipment import Equipment, Load
from models.errors import ModelError
from models.film import RESIDUE_MOLAR_MASS
from models.parameters import PARAMETERS, natural
from models.system import Array, LiquidSystem

SETTING_COLUMNS: Final = (
    "set_temperature", "ramp_rate", "end_pressure", "fill_volume", "keeper_volume",
    "end_volume", "end_point_hold",
)
"""K, Pa/s, Pa, m3, m3, m3, s."""


def checked_inputs(settings: Array, z: Array, equipment: Equipment) -> tuple[Array, Array]:
    """Settings [N, 7] and natural parameters [N, K], both broadcast to N and checked.

    Raises
    ------
    ModelError
        for wrong shapes, values that are not finite, or settings that cannot be
    """
    settings = np.atleast_2d(np.asarray(settings, dtype=float))
    z = np.atleast_2d(np.asarray(z, dtype=float))
    n = max(len(settings), len(z))
    if settings.shape[1] != len(SETTING_COLUMNS) or z.shape[1] != len(PARAMETERS):
        raise ModelError(
            f"Settings {settings.shape} and parameters {z.shape} have wrong columns.",
            f"Give {len(SETTING_COLUMNS)} settings and {len(PARAMETERS)} parameters a run.",
        )
    if len(settings) not in (1, n) or len(z) not in (1, n):
        raise ModelError(
            f"{len(settings)} settings do not go with {len(z)} sets of parameters.",
            "Give one of each, or as many of both.",
        )
    if not (np.isfinite(settings).all() and np.isfinite(z).all()):
        raise ModelError("A setting or parameter is not a finite number.", "Check the inputs.")
    low = np.array([150.0, 1e-9, 1e-3, 1e-12, 0.0, 0.0, 0.0])
    below = np.any(settings < low, axis=0)
    wrong = [name for name, bad in zip(SETTING_COLUMNS, below.tolist(), strict=True) if bad]
    if wrong:
        raise ModelError(f"{' and '.join(wrong)} out of range.", "Set a positive value in SI.")
    theta = natural(z, equipment.heating)
    return (
        np.ascontiguousarray(np.broadcast_to(settings, (n, settings.shape[1]))),
        np.ascontiguousarray(np.broadcast_to(theta, (n, theta.shape[1]))),
    )


def molar_density(system: LiquidSystem) -> Array:
    """Moles per m3 of fill and of keeper, [2, S]."""
    pure = system.density / system.molar_mass
    return np.ascontiguousarray(np.stack([system.fraction * pure, pure]))


def film_solvent(system: LiquidSystem, load: Load, settings: Array) -> Array:
    """Moles [N, A] in which the film of a dry vessel is dissolved: the residue and the keeper.

    A keeper smaller than what a vessel that looks dry holds up leaves a film, no liquid; it
    counts for less where the analyte's activity coefficient in it is high.
    """
    residue = np.full((len(settings), len(system.analytes)), load.residue_kg / RESIDUE_MOLAR_MASS)
    if not system.has_keeper:
        return residue
    keeper = settings[:, SETTING_COLUMNS.index("keeper_volume")] * molar_density(system)[1, -1]
    return np.asarray(residue + np.outer(keeper, np.exp(-system.analyte_ln_gamma[:, -1])))
