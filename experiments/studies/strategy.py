"""What a strategy may know of a job, what it has seen, and what it claims.

Every strategy, ours and the peers, gets the same :class:`Problem` (the job and nothing
else), the same noisy results and the same budgets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from scipy.stats import norm

from experiments.job import MAIN_FACTORS, Setting
from experiments.studies.bench import Bench, FreeFactor, Mapping
from models.system import Array

EFFECT_HIGH, EFFECT_LOW = 0.06, 0.17  # middle of the stated run effects, relative
TIME_NOISE = 0.085  # sd of ln(run time): 4 % within and 7.5 % between days
VESSEL_NOISE = 0.035
LEAST_RECOVERY = 3.0  # percent; noise does not vanish below
CENSORED_AT = 0.5  # a reading "<v" enters the peers' means as this share of v


@dataclass(frozen=True, eq=False)
class Problem:
    """A job as a strategy sees it: free factors coded to [0, 1], targets in percent.

    Ramp rate and end pressure are coded by their logarithm when the window spans more than
    a factor of eight, as an experienced analyst would. ``noise_scale`` multiplies the bench
    noise the peers assume.
    """

    job: Mapping
    free: tuple[FreeFactor, ...]
    analytes: tuple[str, ...]
    targets: Array
    vessels: int
    max_run_time: float
    assurance: float
    seed: int
    noise_scale: float = 1.0

    @classmethod
    def of(cls, bench: Bench, seed: int) -> Problem:
        """The open part of a bench."""
        return cls(bench.job, bench.free, bench.analytes, bench.targets,
                   bench.vessels, bench.max_run_time, bench.assurance, seed)

    @property
    def dimension(self) -> int:
        return len(self.free)

    @property
    def time_noise(self) -> float:
        """Assumed sd of ln(run time) of one run."""
        return TIME_NOISE * self.noise_scale

    def recovery_noise(self, recovery: Array) -> Array:
        """Assumed sd of a run's mean recovery about the truth, percent."""
        effect = np.interp(recovery, [70.0, 85.0], [EFFECT_LOW, EFFECT_HIGH])
        relative = np.sqrt(effect**2 + VESSEL_NOISE**2 / self.vessels)
        return np.asarray(self.noise_scale * np.maximum(recovery, LEAST_RECOVERY) * relative)

    def _is_log(self, factor: FreeFactor) -> bool:
        return factor.name in MAIN_FACTORS[1:] and factor.high / factor.low > 8.0

    def decode(self, u: Array) -> Setting:
        """Coded factors [D] to a setting the equipment can dial."""
        values: Setting = {}
        for factor, x in zip(self.free, np.clip(u, 0.0, 1.0), strict=True):
            if self._is_log(factor):
                value = factor.low * (factor.high / factor.low) ** float(x)
            else:
                value = factor.low + (factor.high - factor.low) * float(x)
            step = factor.resolution
            dialled = round(value / step) * step if step > 0 else value
            values[factor.name] = float(round(min(max(dialled, factor.low), factor.high), 6))
        return values

    def encode(self, setting: Setting) -> Array:
        """A setting to coded factors [D]."""
        coded = []
        for factor in self.free:
            x = float(setting[factor.name])
            if self._is_log(factor):
                coded.append(np.log(x / factor.low) / np.log(factor.high / factor.low))
            else:
                coded.append((x - factor.low) / (factor.high - factor.low))
        return np.array(coded)

    def dialled(self, setting: Setting) -> Setting:
        """The nearest setting of the window that the equipment can dial."""
        return self.decode(self.encode(setting))


@dataclass(frozen=True, eq=False)
class Observation:
    """One run as the peers use it: mean recovery over the vessels, [A] percent or nan."""

    u: Array
    run_time: float  # min, nan when the run gave none
    outcome: str
    recovery: Array

    @property
    def is_finished(self) -> bool:
        return self.outcome == "finished"


def observe(problem: Problem, setting: Setting, result: Mapping) -> Observation:
    """Reduce what the bench reported to one observation."""
    recovery = np.full(len(problem.analytes), np.nan)
    for a, name in enumerate(problem.analytes):
        readings = [_number(r) for r in result["recovery_percent"].get(name, []) if r is not None]
        if readings:
            recovery[a] = float(np.mean(readings))
    time = result["run_time_min"]
    return Observation(problem.encode(setting), np.nan if time is None else float(time),
                       str(result["outcome"]), recovery)


def _number(reading: float | str) -> float:
    if isinstance(reading, str):
        return CENSORED_AT * float(reading.removeprefix("<"))
    return float(reading)


@dataclass(frozen=True)
class Belief:
    """What a strategy believes of one setting: central intervals of the true means."""

    run_time: dict[float, tuple[float, float]]
    recovery: dict[str, dict[float, tuple[float, float]]]
    probability: float


LEVELS = (0.80, 0.95)


def normal_belief(
    problem: Problem, ln_time: tuple[float, float], mean: Array, sd: Array, probability: float
) -> Belief:
    """A belief from normal ln(run time) and normal recoveries [A] in percent."""
    z = {level: float(norm.ppf(0.5 + level / 2)) for level in LEVELS}
    m, s = ln_time
    return Belief(
        {lv: (float(np.exp(m - k * s)), float(np.exp(m + k * s))) for lv, k in z.items()},
        {
            name: {lv: (float(mean[a] - k * sd[a]), float(mean[a] + k * sd[a]))
                   for lv, k in z.items()}
            for a, name in enumerate(problem.analytes)
        },
        probability,
    )


@dataclass(frozen=True)
class Claim:
    """A recommendation at the asked assurance; without one ``setting`` is None.

    ``compromise`` is the best setting all the same; ``impossible`` says that nothing in the
    window qualifies. ``robust`` is the setting moved inwards for equipment tolerance, where
    a strategy offers it.
    """

    setting: Setting | None
    probability: float
    compromise: Setting | None = None
    robust: Setting | None = None
    impossible: bool = False
    belief: Belief | None = None
    notes: Mapping = field(default_factory=dict)


class Strategy(Protocol):
    """Something that proposes trials, learns from them and recommends."""

    def propose(self, n: int) -> Sequence[Setting]:
        """At most ``n`` settings to run next; empty when nothing more is worth running."""

    def record(self, setting: Setting, result: Mapping) -> None:
        """Take in what the bench reported for a proposed setting."""

    def claim(self) -> Claim:
        """The recommendation as things stand."""

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        """Intervals at other settings; None where the strategy has no opinion."""


def probability_of_targets(problem: Problem, mean: Array, sd: Array) -> Array:
    """[N] probability that all targets are met for independent normal means [N, A]."""
    z = (mean - problem.targets) / np.maximum(sd, 1e-9)
    return np.asarray(norm.cdf(z).prod(axis=1))
