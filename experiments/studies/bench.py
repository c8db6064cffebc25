"""A simulated bench: a job, a truth nobody sees, and a noisy laboratory.

Trials are played through the Python contract: ``bench.job`` goes to ``Dossier.start`` and
``bench.run(setting, rng, day)`` returns what ``Dossier.record`` takes. ``bench.truth`` and
``bench.best`` are for scoring only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from experiments.job import DEFAULT_STEP, Setting
from models.system import Array, Mask

Mapping = dict[str, Any]
STATUS = ("finished", "not dry", "boil-over")
BATCH = 3
"""Runs of one day."""
LOST_SAMPLE = 0.01
CENSOR_BELOW = 5.0  # percent
BOIL_OVER_SCATTER = 0.06  # sd of ln(index) from run to run


@dataclass(frozen=True)
class FreeFactor:
    """A factor the strategies may move, in contract units."""

    name: str
    low: float
    high: float

    @property
    def resolution(self) -> float:
        return DEFAULT_STEP.get(self.name, 0.0)


@dataclass(frozen=True)
class Noise:
    """Bench noise as relative standard deviations (common practice, no source).

    ``effect_high`` is the run effect on recoveries above 85 %, ``effect_low`` at 40-70 %,
    linear between 70 and 85 %; ``shared`` is the part of it (variance) common to the runs
    of one day, ``common`` the part common to the analytes of one run.
    """

    vessel: float
    effect_high: float
    effect_low: float
    time_within: float
    time_between: float
    shared: float = 0.2
    common: float = 0.6

    def effect(self, percent: Array) -> Array:
        """Run effect at a recovery of that many percent."""
        return np.interp(percent, [70.0, 85.0], [self.effect_low, self.effect_high])

    def of_mean(self, percent: Array, trials: float, vessels: int) -> Array:
        """Relative standard error of the mean of so many runs, three a day; as ``percent``."""
        together = 1.0 + self.shared * (min(BATCH, trials) - 1.0)
        scatter = together * self.effect(percent) ** 2 + self.vessel**2 / vessels
        return np.asarray(np.sqrt(scatter / trials))

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Noise:
        """Noise of one bench inside the usual ranges (common practice, no source)."""
        low = np.array([0.02, 0.04, 0.10, 0.03, 0.05])
        high = np.array([0.05, 0.08, 0.25, 0.05, 0.10])
        return cls(*(float(x) for x in rng.uniform(low, high)))


@dataclass(frozen=True, eq=False)
class Truth:
    """What N settings truly give.

    Attributes
    ----------
    run_time : [N] min, nan where the run does not finish
    recovery : [N, V, A] percent of the spike in each vessel
    status : [N] index into :data:`STATUS`
    boil_over : [N] boil-over index, above 1 liquid is thrown out
    """

    run_time: Array
    recovery: Array
    status: np.ndarray[Any, np.dtype[np.int64]]
    boil_over: Array

    @property
    def mean(self) -> Array:
        """[N, A] mean over all vessels, percent."""
        return np.asarray(self.recovery.mean(axis=1))


@dataclass(frozen=True, eq=False)
class Bench:
    """One simulated laboratory. ``evaluate`` takes free factors [N, D] to a :class:`Truth`.

    ``kind`` is "trivial", "easy", "medium", "hard" or "impossible"; ``region`` the share of
    the window that is truly feasible, by quasi-random sampling.
    """

    family: str
    seed: int
    kind: str
    job: Mapping
    free: tuple[FreeFactor, ...]
    noise: Noise
    evaluate: Callable[[Array], Truth]
    region: float
    notes: Mapping = field(default_factory=dict)

    @property
    def name(self) -> str:
        return f"{self.family}-{self.seed}"

    @property
    def analytes(self) -> tuple[str, ...]:
        return tuple(str(a["name"]) for a in self.job["analytes"])

    @property
    def targets(self) -> Array:
        """[A] percent."""
        return np.array([float(a["target_recovery_percent"]) for a in self.job["analytes"]])

    @property
    def vessels(self) -> int:
        return int(self.job["equipment"]["vessels"])

    @property
    def assurance(self) -> float:
        return float(self.job["limits"]["assurance"])

    @property
    def max_run_time(self) -> float:
        return float(self.job["limits"]["max_run_time_min"])

    @property
    def lower(self) -> Array:
        return np.array([f.low for f in self.free])

    @property
    def upper(self) -> Array:
        return np.array([f.high for f in self.free])

    def setting(self, row: Array) -> Setting:
        """Free factor values [D] as a setting."""
        return {f.name: float(x) for f, x in zip(self.free, row, strict=True)}

    def row(self, setting: Setting) -> Array:
        """Free factor values [D] of a setting."""
        return np.array([float(setting[f.name]) for f in self.free])

    def truth(self, setting: Setting) -> tuple[float, dict[str, float], str]:
        """True run time (min, nan if not finished), mean recoveries in percent, outcome."""
        truth = self.evaluate(self.row(setting)[None, :])
        recoveries = dict(zip(self.analytes, map(float, truth.mean[0]), strict=True))
        return float(truth.run_time[0]), recoveries, STATUS[int(truth.status[0])]

    def feasible(self, truth: Truth) -> Mask:
        """[N] finished in time, nothing thrown out, every target met."""
        met = (truth.mean >= self.targets - 1e-9).all(axis=1)
        return np.asarray((truth.status == 0) & met)

    def is_feasible(self, setting: Setting) -> bool:
        """Whether a setting is truly feasible."""
        return bool(self.feasible(self.evaluate(self.row(setting)[None, :]))[0])

    def best(self) -> tuple[Setting, float] | None:
        """Fastest truly feasible setting and its run time in min; None when there is none."""
        from experiments.studies.optimum import fastest_feasible

        found = fastest_feasible(self)
        return None if found is None else (self.setting(found.row), found.run_time)

    def run(
        self, setting: Setting, rng: np.random.Generator, day: int | None = None
    ) -> Mapping:
        """Play one trial; the mapping goes to ``Dossier.record(id, **mapping)``.

        Every call draws the same number of variates, so strategies that share a seed share
        the noise of their first, second, ... trial. Runs of one ``day`` share a day effect.
        """
        truth = self.evaluate(self.row(setting)[None, :])
        count = len(self.analytes)
        run_z = rng.standard_normal(count + 2)
        vessel_z = rng.standard_normal((self.vessels, count))
        lost = rng.uniform(size=(self.vessels, count)) < LOST_SAMPLE
        limit_z = float(rng.standard_normal())
        day_rng = np.random.default_rng(int(rng.integers(2**62)))
        if day is not None:
            source = rng.bit_generator.seed_seq
            if not isinstance(source, np.random.SeedSequence):
                raise TypeError("Day effects need a generator made by numpy.random.default_rng.")
            day_rng = np.random.default_rng(
                np.random.SeedSequence(entropy=source.entropy, spawn_key=(1000 + day,))
            )
        day_z = day_rng.standard_normal(count + 2)
        return self._report(truth, run_z, day_z, vessel_z, lost, limit_z)

    def _report(
        self, truth: Truth, run_z: Array, day_z: Array, vessel_z: Array,
        lost: Mask, limit_z: float,
    ) -> Mapping:
        noise = self.noise
        time = float(truth.run_time[0]) * float(
            np.exp(noise.time_within * run_z[0] + noise.time_between * day_z[0])
        )
        status = int(truth.status[0])
        if status != 1:  # near the limit chance decides whether it boils over
            status = 2 if truth.boil_over[0] * np.exp(BOIL_OVER_SCATTER * limit_z) > 1.0 else 0
        if status == 1 or not time <= self.max_run_time:
            return {"run_time_min": None, "outcome": "not dry", "recovery_percent": {}}
        own, shared = np.sqrt(1.0 - noise.shared), np.sqrt(noise.shared)
        common, alone = np.sqrt(noise.common), np.sqrt(1.0 - noise.common)
        effect_z = own * (common * run_z[1] + alone * run_z[2:]) + shared * (
            common * day_z[1] + alone * day_z[2:]
        )
        spread = noise.effect(truth.mean[0])
        scatter = spread * effect_z - 0.5 * spread**2
        recovery = truth.recovery[0] * np.exp(
            scatter + noise.vessel * vessel_z - 0.5 * noise.vessel**2
        )
        if status == 2:  # every other position throws part of its liquid out
            recovery = recovery.copy()
            recovery[::2] *= 0.3 + 0.4 / (1.0 + np.exp(-vessel_z[::2, :1]))
        reported = {
            name: [
                None if lost[v, a] else _reading(float(recovery[v, a]))
                for v in range(self.vessels)
            ]
            for a, name in enumerate(self.analytes)
        }
        return {
            "run_time_min": round(time, 2),
            "outcome": STATUS[status],
            "recovery_percent": reported,
        }


def _reading(percent: float) -> float | str:
    return f"<{CENSOR_BELOW:g}" if percent < CENSOR_BELOW else round(percent, 2)
