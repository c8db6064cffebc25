"""The physics-free bench family: smooth random functions of the coded factors.

The job reads like any other, but run time and recoveries follow random trends, curvature,
interactions and a smooth Gaussian-process draw (random Fourier features); a hotter wall may
well be slower here. What a run model believes is of no use on these benches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from experiments.studies.bench import Bench, FreeFactor, Noise, Truth
from experiments.studies.optimum import window_sample
from experiments.studies.physical_jobs import draw_candidates, draw_scene, write_job
from experiments.studies.targets import KINDS, SHARES, choose_targets
from models.system import Array

FEATURES = 64
CALIBRATION = 2048  # settings played to choose targets


@dataclass(frozen=True, eq=False)
class RandomSurface:
    """f(u) = b.u + u'Cu + GP(u) for coded factors u in [-1, 1]^D."""

    slope: Array
    curvature: Array
    frequency: Array  # [F, D]
    phase: Array
    weight: Array

    @classmethod
    def draw(cls, count: int, rng: np.random.Generator) -> RandomSurface:
        """A random surface of about unit size whose length scales differ by factor."""
        scale = rng.uniform(0.7, 2.0, count)
        curvature = rng.normal(0.0, 0.25, (count, count))
        return cls(
            rng.normal(0.0, 0.6, count),
            0.5 * (curvature + curvature.T),
            rng.standard_normal((FEATURES, count)) / scale,
            rng.uniform(0.0, 2.0 * np.pi, FEATURES),
            rng.normal(0.0, 0.45, FEATURES) * np.sqrt(2.0 / FEATURES),
        )

    def __call__(self, u: Array) -> Array:
        wave = np.cos(u @ self.frequency.T + self.phase) @ self.weight
        return np.asarray(u @ self.slope + np.einsum("ni,ij,nj->n", u, self.curvature, u) + wave)


@dataclass(frozen=True, eq=False)
class RandomTruth:
    """Run time and recoveries from random surfaces; every vessel has a fixed offset."""

    low: Array
    high: Array
    logarithmic: np.ndarray[tuple[int], np.dtype[np.bool_]]
    time: RandomSurface
    time_level: float
    time_size: float
    recoveries: tuple[RandomSurface, ...]
    levels: Array
    sizes: Array
    offsets: Array  # [V, A] logit
    max_time: float

    def coded(self, rows: Array) -> Array:
        """Free factors [N, D] to [-1, 1]; some factors act through their logarithm."""
        linear = (rows - self.low) / (self.high - self.low)
        ratio = np.log(np.maximum(rows, 1e-9) / self.low) / np.log(self.high / self.low)
        return np.asarray(2.0 * np.where(self.logarithmic, ratio, linear) - 1.0)

    def __call__(self, rows: Array) -> Truth:
        u = self.coded(np.atleast_2d(rows))
        time = np.exp(self.time_level + self.time_size * self.time(u))
        logit = np.column_stack([
            level + size * surface(u)
            for level, size, surface in zip(
                self.levels, self.sizes, self.recoveries, strict=True)
        ])
        recovery = 100.0 / (1.0 + np.exp(-(logit[:, None, :] + self.offsets)))
        late = time > self.max_time
        status = np.where(late, 1, 0).astype(np.int64)
        return Truth(np.where(late, np.nan, time), recovery, status, np.zeros(len(u)))


def physics_free_bench(seed: int, kind: str | None = None) -> Bench:
    """One physics-free bench, the same for the same seed (``kind`` as for physical ones)."""
    rng = np.random.default_rng([20260201, seed])
    wanted = kind or str(rng.choice(KINDS, p=SHARES))
    for attempt in range(60):
        bench = _try_bench(seed, wanted, np.random.default_rng([20260202, seed, attempt]))
        if bench is not None:
            return bench
    raise RuntimeError(f"No {wanted} surface was found for bench seed {seed}.")


def _draw_truth(
    free: tuple[FreeFactor, ...], vessels: int, analytes: int, rng: np.random.Generator
) -> RandomTruth:
    count = len(free)
    return RandomTruth(
        low=np.array([f.low for f in free]),
        high=np.array([f.high for f in free]),
        logarithmic=rng.uniform(size=count) < 0.5,
        time=RandomSurface.draw(count, rng),
        time_level=float(np.log(rng.uniform(30.0, 75.0))),
        time_size=float(rng.uniform(0.25, 0.5)),
        recoveries=tuple(RandomSurface.draw(count, rng) for _ in range(analytes)),
        levels=rng.uniform(0.3, 2.2, analytes),
        sizes=rng.uniform(0.5, 1.3, analytes),
        offsets=rng.normal(0.0, 0.15, (vessels, 1)) + np.zeros((vessels, analytes)),
        max_time=240.0,
    )


def _try_bench(seed: int, kind: str, rng: np.random.Generator) -> Bench | None:
    scene = draw_scene(rng)
    pool = draw_candidates(rng)
    chosen = [int(i) for i in rng.permutation(len(pool.entries))[: int(rng.integers(1, 6))]]
    noise = Noise.draw(rng)
    truth = _draw_truth(scene.free, scene.vessels, len(chosen), rng)
    entries = pool.take(chosen).entries
    title = f"Simulated surface {seed}"

    def build(targets: Array, region: float) -> Bench:
        written = tuple(
            e | {"target_recovery_percent": float(t)}
            for e, t in zip(entries, targets, strict=True)
        )
        return Bench("physics-free", seed, kind, write_job(scene, written, title, seed),
                     scene.free, noise, truth, region)

    rows = window_sample(build(np.zeros(len(chosen)), 0.0), CALIBRATION, seed=seed)
    played = truth(rows)
    finished = played.status == 0
    choice = choose_targets(played.mean, finished, kind, rng)
    if choice is None:
        return None
    targets = choice.targets
    if kind == "impossible":
        top = float(played.mean[finished, 0].max())
        targets[0] = float(np.ceil(top + choice.margin))
        if targets[0] > 99.0:
            return None
    bench = build(targets, 0.0)
    region = float(bench.feasible(played).mean())
    return build(targets, region)
