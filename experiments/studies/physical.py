"""The physical bench family: random evaporators, jobs and analytes with other closures."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from experiments.job import Setting
from experiments.studies import bench_liquids as liquids
from experiments.studies.bench import Bench, Noise, Truth
from experiments.studies.bench_kernel import run_many
from experiments.studies.bench_records import Liquid, Rig
from experiments.studies.optimum import refine, window_sample
from experiments.studies.physical_jobs import (
    ZERO,
    Candidates,
    Scene,
    build_liquid,
    draw_candidates,
    draw_rig,
    draw_scene,
    write_job,
)
from experiments.studies.targets import KINDS, SHARES, Choice, choose_analytes, choose_targets
from models.system import Array

CALIBRATION = 512  # settings played to choose analytes and targets
FIRST_LOOK = 48  # of them, to see whether enough finishes
CONTROLS = {"": 0, "weighing": 1, "cold tip": 2}
COLUMNS = ("set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar",
           "end_point_hold_min", "keeper_volume_ml", "end_volume_ml")


@dataclass(frozen=True, eq=False)
class PhysicalTruth:
    """Free factors [N, D] in contract units to what they truly give."""

    scene: Scene
    liquid: Liquid
    rig: Rig
    analytes: Candidates

    def __call__(self, rows: Array) -> Truth:
        fixed: Setting = self.scene.fixed
        free = {f.name: k for k, f in enumerate(self.scene.free)}
        rows = np.atleast_2d(rows)
        column = {
            name: rows[:, free[name]] if name in free
            else np.full(len(rows), float(fixed.get(name, 0.0)))
            for name in COLUMNS
        }
        settings = np.column_stack([
            column["set_temperature_c"] + ZERO,
            column["ramp_rate_mbar_per_min"] * 100.0 / 60.0,
            column["end_pressure_mbar"] * 100.0,
            column["end_point_hold_min"] * 60.0,
        ])
        fills = np.outer(np.ones(len(rows)), np.array(self.scene.fractions)) * (
            self.scene.fill_ml * 1e-6)
        if self.scene.keeper:
            fills = np.column_stack([fills, column["keeper_volume_ml"] * 1e-6])
        time, status, index, left = run_many(
            settings, fills, bool(self.scene.keeper), CONTROLS[self.scene.control],
            column["end_volume_ml"] * 1e-6, self.liquid, self.rig,
        )
        recovery = 100.0 * left * self.analytes.ceiling
        return Truth(np.where(status == 1, np.nan, time / 60.0), recovery, status, index)


def drawn_kind(seed: int) -> str:
    """The size of feasible region a seed stands for."""
    return str(np.random.default_rng([20260101, seed]).choice(KINDS, p=SHARES))


def physical_bench(seed: int, kind: str | None = None) -> Bench:
    """One physical bench, the same for the same seed.

    ``kind`` asks for a size of feasible region ("trivial", "easy", "medium", "hard",
    "impossible"); by default it is drawn. Scenes in which too little finishes or no analyte
    depends on the setting are drawn again.
    """
    wanted = kind or drawn_kind(seed)
    for attempt in range(60):
        bench = _try_bench(seed, wanted, np.random.default_rng([20260102, seed, attempt]))
        if bench is not None:
            return bench
    raise RuntimeError(f"No {wanted} scene was found for bench seed {seed}.")


@dataclass(frozen=True, eq=False)
class Draft:
    """A bench before its targets are known."""

    seed: int
    kind: str
    scene: Scene
    rig: Rig
    margules: Array
    noise: Noise

    def build(self, chosen: Candidates, targets: Array, region: float = 0.0) -> Bench:
        """The bench with these analytes and targets [A]."""
        entries = tuple(
            e | {"target_recovery_percent": float(t)}
            for e, t in zip(chosen.entries, targets, strict=True)
        )
        title = f"Simulated bench {self.seed}: {' and '.join(self.scene.solvents)}"
        liquid = build_liquid(self.scene, chosen, self.margules)
        return Bench(
            family="physical", seed=self.seed, kind=self.kind,
            job=write_job(self.scene, entries, title, self.seed),
            free=self.scene.free, noise=self.noise,
            evaluate=PhysicalTruth(self.scene, liquid, self.rig, chosen),
            region=region,
        )


def _try_bench(seed: int, kind: str, rng: np.random.Generator) -> Bench | None:
    scene = draw_scene(rng)
    rig = draw_rig(scene, rng)
    pool = draw_candidates(rng)
    draft = Draft(seed, kind, scene, rig, liquids.margules_matrix(scene.names, rng),
                  Noise.draw(rng))
    everything = draft.build(pool, np.zeros(len(pool.entries)))
    rows = window_sample(everything, CALIBRATION, seed=seed)
    if (everything.evaluate(rows[:FIRST_LOOK]).status != 1).mean() < 0.15:
        return None
    truth = everything.evaluate(rows)
    done = truth.status != 1
    limit = float(np.quantile(truth.boil_over[done], rng.uniform(0.75, 0.98)))
    draft = replace(draft, rig=rig._replace(velocity_limit=limit))
    finished = done & (truth.boil_over <= limit)
    chosen = choose_analytes(truth.mean, finished, rng)
    if chosen is None:
        return None
    choice = choose_targets(truth.mean[:, chosen], finished, kind, rng)
    if choice is None:
        return None
    return complete(draft, pool.take(chosen), choice, rows)


def complete(draft: Draft, chosen: Candidates, choice: Choice, rows: Array) -> Bench | None:
    """Put the targets in, make an impossible job truly impossible, measure the region."""
    targets = choice.targets
    bench = draft.build(chosen, targets)
    truth = bench.evaluate(rows)
    if draft.kind == "impossible":
        target = float(np.ceil(_highest(bench, rows, truth, choice.decisive) + choice.margin))
        if target > 99.0:
            return None
        targets = targets.copy()
        targets[choice.decisive] = target
        bench = draft.build(chosen, targets)
    region = float(bench.feasible(truth).mean())
    if draft.kind != "impossible" and region <= 0.0:
        return None
    return draft.build(chosen, targets, region)


def _highest(bench: Bench, rows: Array, truth: Truth, decisive: int) -> float:
    """Highest true recovery of one analyte that any finished setting reaches, percent."""
    reached = np.where(truth.status == 0, truth.mean[:, decisive], -1.0)
    i = int(np.argmax(reached))
    alone = np.zeros(len(bench.analytes))
    alone[decisive] = 200.0  # out of reach: refinement then climbs towards it
    job = bench.job | {"analytes": [
        a | {"target_recovery_percent": t}
        for a, t in zip(bench.job["analytes"], alone, strict=True)
    ]}
    climb = replace(bench, job=job)
    _, gap, _ = refine(climb, rows[i], 200.0 - float(reached[i]), 0.0,
                       np.random.default_rng(3))
    return 200.0 - gap
