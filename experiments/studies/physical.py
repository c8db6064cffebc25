"""The physical bench family: random evaporators, jobs and analytes with other closures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from experiments.job import Setting
from experiments.studies import bench_liquids as liquids
from experiments.studies.bench import Bench, Noise, Truth
from experiments.studies.bench_kernel import Liquid, Rig, run_many
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
    ceiling: Array

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
        recovery = 100.0 * left * self.ceiling
        return Truth(np.where(status == 1, np.nan, time / 60.0), recovery, status, index)


def physical_bench(seed: int, kind: str | None = None) -> Bench:
    """One physical bench, the same for the same seed.

    ``kind`` asks for a size of feasible region ("trivial", "easy", "medium", "hard",
    "impossible"); by default it is drawn. Scenes in which too little finishes or no analyte
    depends on the setting are drawn again.
    """
    rng = np.random.default_rng([20260101, seed])
    drawn = str(rng.choice(KINDS, p=SHARES))
    wanted = kind or drawn
    for attempt in range(60):
        bench = _try_bench(seed, wanted, np.random.default_rng([20260102, seed, attempt]))
        if bench is not None:
            return bench
    raise RuntimeError(f"No {wanted} scene was found for bench seed {seed}.")


def _try_bench(seed: int, kind: str, rng: np.random.Generator) -> Bench | None:
    scene = draw_scene(rng)
    rig = draw_rig(scene, rng)
    pool = draw_candidates(scene, rng)
    margules = liquids.margules_matrix(scene.names, rng)
    noise = Noise.draw(rng)
    everything = _assemble(seed, kind, scene, pool, rig, margules, noise, 1.0)
    rows = window_sample(everything, CALIBRATION, seed=seed)
    if (everything.evaluate(rows[:FIRST_LOOK]).status != 1).mean() < 0.15:
        return None
    truth = everything.evaluate(rows)
    done = truth.status != 1
    limit = float(np.quantile(truth.boil_over[done], rng.uniform(0.75, 0.98)))
    rig = rig._replace(velocity_limit=limit)
    finished = done & (truth.boil_over <= limit)
    chosen = choose_analytes(truth.mean, finished, rng)
    if chosen is None:
        return None
    choice = choose_targets(truth.mean[:, chosen], finished, kind, rng)
    if choice is None:
        return None
    return _finish(seed, kind, scene, pool.take(chosen), rig, margules, noise, choice, rows)


def _finish(
    seed: int, kind: str, scene: Scene, chosen: Candidates, rig: Rig, margules: Array,
    noise: Noise, choice: Choice, rows: Array,
) -> Bench | None:
    """Put the targets in, make an impossible job truly impossible, measure the region."""
    targets = choice.targets
    bench = _assemble(seed, kind, scene, chosen, rig, margules, noise, targets)
    truth = bench.evaluate(rows)
    if kind == "impossible":
        reach = _highest(bench, rows, truth, choice.decisive)
        target = float(np.ceil(reach + choice.margin))
        if target > 99.0:
            return None
        targets = targets.copy()
        targets[choice.decisive] = target
        bench = _assemble(seed, kind, scene, chosen, rig, margules, noise, targets)
    region = float(bench.feasible(truth).mean())
    if kind != "impossible" and region <= 0.0:
        return None
    return Bench(
        bench.family, seed, kind, bench.job, bench.free, bench.fixed, noise, bench.evaluate,
        region,
    )


def _highest(bench: Bench, rows: Array, truth: Truth, decisive: int) -> float:
    """Highest true recovery of one analyte that any finished setting reaches, percent."""
    finished = truth.status == 0
    reached = np.where(finished, truth.mean[:, decisive], -1.0)
    i = int(np.argmax(reached))
    alone = np.full(len(bench.analytes), 0.0)
    alone[decisive] = 200.0  # out of reach: refinement then climbs towards it
    job = bench.job | {"analytes": [
        a | {"target_recovery_percent": t}
        for a, t in zip(bench.job["analytes"], alone, strict=True)
    ]}
    climb = Bench(bench.family, bench.seed, bench.kind, job, bench.free, bench.fixed,
                  bench.noise, bench.evaluate, 0.0)
    _, gap, _ = refine(climb, rows[i], 200.0 - float(reached[i]), 0.0,
                       np.random.default_rng(3))
    return 200.0 - gap


def _assemble(
    seed: int, kind: str, scene: Scene, chosen: Candidates, rig: Rig, margules: Array,
    noise: Noise, targets: Array | float,
) -> Bench:
    filled = np.broadcast_to(targets, (len(chosen.entries),))
    entries = tuple(
        e | {"target_recovery_percent": float(t)}
        for e, t in zip(chosen.entries, filled, strict=True)
    )
    title = f"Simulated bench {seed}: {' and '.join(scene.solvents)}"
    return Bench(
        family="physical", seed=seed, kind=kind,
        job=write_job(scene, entries, title, seed),
        free=scene.free, fixed=scene.fixed, noise=noise,
        evaluate=PhysicalTruth(scene, build_liquid(scene, chosen, margules), rig,
                               chosen.ceiling),
        region=0.0,
    )
