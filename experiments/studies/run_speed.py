"""How fast the run model is: ``python -m experiments.studies.run_speed``.

Prints the seconds for many runs of a job of three analytes on the cores there are, and how
many times longer ``scipy.integrate.solve_ivp`` takes a run, measured in the same minute on a
few of the same runs. The kernels are compiled and warm before the clock starts.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.studies.scipy_route import ScipyRun
from models.equipment import Equipment, Load
from models.mixture import build_system
from models.new_analyte import AnalyteSpec
from models.parameters import NAMES
from models.run_model import SETTING_COLUMNS, RunBatch, simulate, surviving_fraction
from models.system import Array, LiquidSystem

RUNS = 100_000
BY_SCIPY = 6
ANALYTES = ("naphthalene", "acenaphthylene", "diethyl phthalate")
LOW = {"set_temperature": 300.0, "ramp_rate": 15.0, "end_pressure": 6e3, "end_point_hold": 120.0}
HIGH = {"set_temperature": 325.0, "ramp_rate": 120.0, "end_pressure": 25e3,
        "end_point_hold": 120.0}
FILL = 45e-6  # m3


@dataclass(frozen=True, eq=False)
class Case:
    """A liquid, an evaporator and a load; the settings and parameters of N runs."""

    system: LiquidSystem
    equipment: Equipment
    load: Load
    settings: Array
    z: Array


def case(runs: int, seed: int = 1) -> Case:
    """Runs of a job of three analytes in dichloromethane, settings and parameters spread."""
    analytes = [AnalyteSpec(name) for name in ANALYTES]
    system = build_system([("dichloromethane", 1.0)], None, analytes)
    equipment = Equipment(12, 100e-6, 420.0, 228.15, 7e4, 200.0, 0.05, "contact",
                          450.0, 2.5 / 3600.0, 0.03)
    load = Load(1e-6, 20e-9 / system.analyte_molar_mass, "", 150.0 * 60.0, 323.15)
    rng = np.random.default_rng(seed)
    settings = np.zeros((runs, len(SETTING_COLUMNS)))
    settings[:, SETTING_COLUMNS.index("fill_volume")] = FILL
    for name, low in LOW.items():
        column = low * (HIGH[name] / low) ** rng.random(runs)
        settings[:, SETTING_COLUMNS.index(name)] = column
    return Case(system, equipment, load, settings, rng.standard_normal((runs, len(NAMES))))


def compiled(made: Case) -> tuple[RunBatch, Array]:
    """All runs with the run model, and the recoveries."""
    batch = simulate(made.system, made.equipment, made.load, made.settings, made.z)
    return batch, surviving_fraction(batch, made.load.spike_mol, np.zeros(len(ANALYTES)))


@dataclass(frozen=True)
class Speed:
    """Seconds for all runs, by the clock and of the processors, and a run with scipy.

    The processor's seconds tell more where other programs share the cores.
    """

    runs: int
    cores: int
    seconds: float
    processor_seconds: float
    finished: float
    scipy_seconds_a_run: float

    @property
    def ratio(self) -> float:
        """How many times longer a run takes with scipy on one core."""
        return self.scipy_seconds_a_run / (self.seconds / self.runs)

    @property
    def sentence(self) -> str:
        """The figures in words."""
        return (
            f"{self.runs} runs of {len(ANALYTES)} analytes took {self.seconds:.2f} s on "
            f"{self.cores} cores, {self.processor_seconds:.2f} s of processor time "
            f"({100 * self.finished:.0f} % of the runs ended). One run took "
            f"{self.scipy_seconds_a_run:.2f} s with solve_ivp: {self.ratio:.0f} times longer."
        )


def cores() -> int:
    """Processors this process may use."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return usable or 1


def measure(runs: int = RUNS, by_scipy: int = BY_SCIPY) -> Speed:
    """Time both routes, the compiled one warm."""
    made = case(runs)
    compiled(case(256))
    start, busy = time.perf_counter(), time.process_time()
    batch, _ = compiled(made)
    seconds, busy = time.perf_counter() - start, time.process_time() - busy
    start = time.perf_counter()
    for i in range(by_scipy):
        ScipyRun(made.system, made.equipment, made.load, made.settings[i], made.z[i]).solve()
    each = (time.perf_counter() - start) / max(by_scipy, 1)
    return Speed(runs, cores(), seconds, busy, float(batch.finished.mean()), each)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m experiments.studies.run_speed",
                                     description="How fast the run model is.")
    parser.add_argument("--runs", type=int, default=RUNS, metavar="N")
    parser.add_argument("--scipy", type=int, default=BY_SCIPY, metavar="N",
                        help="how many of them with solve_ivp as well")
    given = parser.parse_args(arguments)
    print(measure(given.runs, given.scipy).sentence)  # noqa: T201 - what it is for


if __name__ == "__main__":
    main()
