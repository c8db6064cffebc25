"""The simulator that the surrogate calls: rows of settings with particles, for one job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from experiments.job import EvaporationJob, Setting
from experiments.physics import PhysicsModel
from models.run_model import RunBatch, simulate
from models.system import Array

LEARNING_TOLERANCE = 1e-2
"""Error allowed in a step while learning: run times within about 1 %, far below bench noise."""


class JobSimulator:
    """Implements :class:`models.surrogate.Simulator` for a job.

    Rows hold the seven settings of the run model in SI and the index of the keeper.
    """

    def __init__(self, job: EvaporationJob) -> None:
        self.physics = PhysicsModel(job)
        self._keepers: list[str | None] = list(job.keepers) or [None]
        systems = [self.physics.system(k) for k in self._keepers]
        self._volatility_sd = np.max([s.analyte_ln_volatility_sd for s in systems], axis=0)
        self._activity_sd = np.max([s.analyte_ln_gamma_sd for s in systems], axis=0)

    @property
    def spike_mol(self) -> Array:
        """[A] mol of each analyte in a vessel."""
        return self.physics.spike_mol

    @property
    def volatility_sd(self) -> Array:
        """[A] standard deviation of ln(gamma P), of the keeper that knows least."""
        return np.asarray(self._volatility_sd)

    @property
    def activity_sd(self) -> Array:
        """[A] the part of it that is of ln(gamma), not of the vapour pressure."""
        return np.asarray(self._activity_sd)

    def rows(self, settings: Sequence[Setting]) -> Array:
        """Rows [M, 8] for settings."""
        index = [float(self._keepers.index(k)) for k in self.physics.keepers(settings)]
        return np.column_stack([self.physics.settings_array(settings), index])

    def __call__(self, x: Array, z: Array) -> RunBatch:
        present = np.unique(x[:, 7]).astype(int)
        batches, order = [], []
        for index in present:
            chosen = np.flatnonzero(x[:, 7] == index)
            batches.append(simulate(
                self.physics.system(self._keepers[index]), self.physics.equipment,
                self.physics.load, x[chosen, :7], z[chosen], tolerance=LEARNING_TOLERANCE,
            ))
            order.append(chosen)
        if len(batches) == 1:
            return batches[0]
        back = np.argsort(np.concatenate(order))
        return RunBatch(**{
            f.name: (
                getattr(batches[0], f.name) if f.name == "weights"
                else np.concatenate([getattr(b, f.name) for b in batches])[back]
            )
            for f in fields(RunBatch)
        })
