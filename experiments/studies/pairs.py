"""Pairs of physical benches: two jobs on one evaporator, or on one that was swapped for it.

The second job of a pair names the same evaporator and differs in solvent, fill and window; its
analytes are others, or among those of the first. Where the evaporator was swapped, the job file
says the same of it and only runs can tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from experiments.studies import bench_liquids as liquids
from experiments.studies.bench import Bench
from experiments.studies.optimum import window_sample
from experiments.studies.physical import (
    CALIBRATION,
    FIRST_LOOK,
    Draft,
    PhysicalTruth,
    complete,
    drawn_kind,
    physical_bench,
)
from experiments.studies.physical_jobs import (
    ZERO,
    Candidates,
    Scene,
    draw_candidates,
    draw_rig,
    draw_scene,
)
from experiments.studies.targets import choose_analytes, choose_targets

OF_THE_EVAPORATOR = (
    "vessels", "capacity_ml", "heating", "condenser_c", "ramp_start", "load_fraction", "hold_min",
    "power_w", "pump_m3_h", "chamber_l", "rcf", "radius_mm",
)
OF_THE_SAMPLE = ("residue", "enrichment", "enrichment_slope", "carry_over", "accommodation")
MOST_VAPOUR_PA = 5000.0
"""Vapour pressure at the condenser above which a solvent is not condensed well enough."""


@dataclass(frozen=True, eq=False)
class Pair:
    """Two benches of one laboratory; ``swapped`` is the second job on another evaporator."""

    first: Bench
    second: Bench
    swapped: Bench


def bench_pair(seed: int, analytes: str = "other") -> Pair:
    """The physical bench of that seed and a second job on its evaporator, and on another one.

    ``analytes`` of the second job: "other" ones, or the "same" (some of those of the first).
    """
    first = physical_bench(seed, _possible(seed))
    for attempt in range(200):
        rng = np.random.default_rng([20260103, seed, attempt])
        second = _second(first, analytes, rng)
        if second is not None:
            return Pair(first, second, _swapped(second, rng))
    raise RuntimeError(f"No second job was found for bench seed {seed}.")


def _possible(seed: int) -> str:
    """The kind of that seed; a job that nothing can do teaches little of its evaporator."""
    kind = drawn_kind(seed)
    return "medium" if kind == "impossible" else kind


def _second(first: Bench, analytes: str, rng: np.random.Generator) -> Bench | None:
    """A second bench, None when the draw does not suit."""
    truth = _truth(first)
    scene = _another_job(truth.scene, rng)
    if scene is None:
        return None
    drawn = draw_rig(scene, rng)
    rig = truth.rig._replace(**{name: getattr(drawn, name) for name in OF_THE_SAMPLE})
    pool = truth.analytes if analytes == "same" else _others(first, rng)
    draft = Draft(first.seed, "easy", scene, rig, liquids.margules_matrix(scene.names, rng),
                  first.noise)
    everything = draft.build(pool, np.zeros(len(pool.entries)))
    rows = window_sample(everything, CALIBRATION, seed=first.seed)
    if (everything.evaluate(rows[:FIRST_LOOK]).status == 0).mean() < 0.15:
        return None
    found = everything.evaluate(rows)
    finished = found.status == 0
    chosen = choose_analytes(found.mean, finished, rng)
    if chosen is None:
        return None
    kind = str(rng.choice(["easy", "medium"]))
    choice = choose_targets(found.mean[:, chosen], finished, kind, rng)
    if choice is None:
        return None
    return complete(replace(draft, kind=kind), pool.take(chosen), choice, rows)


def _others(first: Bench, rng: np.random.Generator) -> Candidates:
    pool, known = draw_candidates(rng), set(first.analytes)
    return pool.take([i for i, e in enumerate(pool.entries) if e["name"] not in known])


def _another_job(first: Scene, rng: np.random.Generator) -> Scene | None:
    """A scene with another solvent on the evaporator of the first."""
    scene = draw_scene(rng)
    fits = (
        scene.heating == first.heating
        and not set(scene.solvents) & set(first.solvents)
        and max(liquids.saturation_pressure(s, first.condenser_c + ZERO) for s in scene.solvents)
        < MOST_VAPOUR_PA
    )
    if not fits:
        return None
    share = first.capacity_ml / scene.capacity_ml
    return replace(
        scene, **{name: getattr(first, name) for name in OF_THE_EVAPORATOR},
        fill_ml=float(np.round(scene.fill_ml * share)),
        end_volume_ml=float(np.round(scene.end_volume_ml * share, 1)),
    )


def _swapped(bench: Bench, rng: np.random.Generator) -> Bench:
    """The job on an evaporator of the same make that transfers far more or less heat."""
    truth = _truth(bench)
    drawn = draw_rig(truth.scene, rng)
    change = float(np.exp(rng.choice([-1.0, 1.0]) * rng.uniform(0.5, 0.9)))
    rig = drawn._replace(
        heat_transfer=truth.rig.heat_transfer * change,
        velocity_limit=truth.rig.velocity_limit * float(np.exp(rng.uniform(-0.5, 0.5))),
        **{name: getattr(truth.rig, name) for name in OF_THE_SAMPLE},
    )
    return replace(bench, evaluate=replace(truth, rig=rig))


def _truth(bench: Bench) -> PhysicalTruth:
    if not isinstance(bench.evaluate, PhysicalTruth):
        raise TypeError("Only physical benches have an evaporator.")
    return bench.evaluate
