"""Make the trial tables of the examples.

THE DATA ARE INVENTED. Each trial is computed with the run model at parameters other than the
assumed ones (a bench that heats less well, condenses less, loses more or less of an analyte
than the tables say) and given the scatter of a real bench, from a fixed seed. No laboratory
measured them. ``python examples/make_tables.py`` writes both tables again.
"""

from __future__ import annotations

import csv
import dataclasses
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from experiments.job import EvaporationJob, Setting
from experiments.job_file import parse
from experiments.physics import PhysicsModel
from models.noise import COMMON_SHARE, RUN_TIME_SD, VESSEL_RSD, run_sd
from models.parameters import INDEX, PARAMETERS
from models.run_model import surviving_fraction

FOLDER = Path(__file__).parent
SLOWEST_POSITION = 8
THROWS_FIRST = 3  # every third position throws out liquid before the others do
SLOWEST, SLOWER, FASTER = range(3)


@dataclass(frozen=True)
class Bench:
    """What is true at the invented bench, and what was run there.

    ``z`` shifts parameters of the run model in standard deviations of their priors;
    ``volatility`` multiplies what the tables say of an analyte; ``ceiling`` is the share that
    extraction and adsorption let through; ``positions`` are the vessels taken to the
    chromatograph; ``settings`` are rows of temperature, ramp rate, end pressure in the order
    they were run; the first one is the method in use where the job has one.
    """

    job: str
    seed: int
    z: dict[str, float]
    volatility: dict[str, float]
    ceiling: dict[str, float]
    positions: tuple[int, ...]
    settings: tuple[tuple[float, float, float], ...]


def truth(bench: Bench, job: EvaporationJob, settings: list[Setting]) -> tuple[np.ndarray, ...]:
    """Run times [N] in min, whether dry [N], boil-over [N], recoveries [N, 3, A] by class."""
    physics = PhysicsModel(job)
    z = np.zeros(len(PARAMETERS))
    for name, shift in bench.z.items():
        z[INDEX[name]] = shift
    batch = physics.simulate(settings, z)
    volatility = np.log([bench.volatility.get(a.name, 1.0) for a in job.analytes])
    ceiling = np.array([bench.ceiling.get(a.name, 1.0) for a in job.analytes])
    alone = [dataclasses.replace(batch, weights=weights) for weights in np.eye(3)]
    by_class = [surviving_fraction(b, physics.spike_mol, volatility, ceiling) for b in alone]
    return (
        batch.run_time / 60.0,
        batch.finished,
        batch.boil_over_index > 1.0,
        np.stack(by_class, axis=1),
    )


def class_of(position: int) -> int:
    """The class of a vessel position: one is the slowest, slower and faster ones take turns."""
    if position == SLOWEST_POSITION:
        return SLOWEST
    return FASTER if position % 2 else SLOWER


def rows(bench: Bench, job: EvaporationJob) -> list[list[str]]:
    """The filled table: one row a vessel that was measured."""
    names = [f.name for f in job.factors]
    settings = [dict(zip(names, values, strict=True)) for values in bench.settings]
    time, dry, thrown, recovery = truth(bench, job, settings)
    random = np.random.default_rng(bench.seed)
    table = []
    for i, setting in enumerate(settings):
        level = recovery[i].mean(axis=0)
        effect = np.sqrt(COMMON_SHARE) * random.normal()
        effect += np.sqrt(1.0 - COMMON_SHARE) * random.standard_normal(len(level))
        run_effect = run_sd(level) * effect
        minutes = time[i] * np.exp(random.normal(0.0, RUN_TIME_SD))
        outcome = "boil-over" if thrown[i] else "finished" if dry[i] else "not dry"
        label = "T1" if job.today is not None and i == 0 else ""
        for position in bench.positions:
            kind = class_of(position)
            true = recovery[i, kind]
            seen = (true + run_effect) * np.exp(random.normal(0.0, VESSEL_RSD, len(true)))
            lost = position % THROWS_FIRST == 0 and bool(thrown[i])
            if lost:  # what was thrown out takes every analyte alike with it
                seen *= 1.0 - random.uniform(0.15, 0.5)
            cells = [f"{100 * x:.1f}" if x >= 0.05 else "<5" for x in seen]
            table.append(
                [
                    label,
                    str(i + 1),
                    *(f"{setting[n]:g}" for n in names),
                    str(position),
                    f"{minutes:.1f}" if outcome == "finished" else "",
                    outcome,
                    *cells,
                    "liquid on the lid" if lost else "",
                ]
            )
    return table


def write(bench: Bench) -> Path:
    """Write the table beside its job."""
    job = parse(FOLDER / f"{bench.job}.toml")
    path = FOLDER / f"{bench.job}_trials.csv"
    header = ["trial", "run_order", *(f.name for f in job.factors), "vessel", "run_time_min"]
    header += ["outcome", *(f"recovery_percent:{a.name}" for a in job.analytes), "remark"]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([header, *rows(bench, job)])
    return path


SEMIVOLATILES = Bench(
    job="semivolatiles_to_dryness",
    seed=1112,
    z={"heat_transfer": -0.7, "condenser_limit": -0.5, "film_transport": 1.0,
       "vessel_spread": -3.5},
    volatility={"naphthalene": 1.2, "acenaphthylene": 0.8, "diethyl phthalate": 1.3},
    ceiling={"phenanthrene": 0.98, "diethyl phthalate": 0.97, "acenaphthylene": 0.98},
    positions=(1, 3, 5, 8, 9, 11),
    settings=(
        (35, 15, 150),
        (50, 10, 260),
        (42, 10, 85),
        (54, 70, 110),
        (42, 50, 70),
        (27, 55, 75),
        (55, 190, 70),
        (47, 110, 40),
        (50, 150, 150),
        (46, 60, 90),
        (50, 150, 150),
    ),
)

NEW_ANALYTE = Bench(
    job="new_analyte_with_keeper",
    seed=2311,
    z={"heat_transfer": 0.5, "condenser_limit": 0.4, "film_transport": 0.6},
    volatility={"QX-17": 1.35, "methyl salicylate": 0.9},
    ceiling={"QX-17": 0.98},
    positions=(1, 5, 9, 14, 18, 22),
    settings=(
        (43, 30, 70),
        (56, 5, 85),
        (30, 50, 15),
        (50, 60, 60),
        (60, 100, 60),
        (65, 60, 100),
        (45, 40, 40),
        (55, 100, 80),
    ),
)

if __name__ == "__main__":
    for one in (SEMIVOLATILES, NEW_ANALYTE):
        print(write(one).name)
