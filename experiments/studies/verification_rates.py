"""How often verification errs: ``python -m experiments.studies.verification_rates``.

Plain Monte Carlo. A bench of known true means gives the runs of a plan, with scatter between
runs, days and vessels and with unlike vessel positions, and the very function that decides at
the laboratory decides. A method is bad when the true mean of one analyte misses its target;
"planned" is the rejection rate that the plan itself announces to somebody who knows the truth.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import binomtest, norm

from experiments.acceptance import default_criteria
from experiments.answers import Forecast, Interval
from experiments.entries import check_result
from experiments.job import EvaporationJob, Setting
from experiments.job_file import parse
from experiments.studies.bench import Bench, Noise, Truth
from experiments.verification import decide
from experiments.verification_plan import VerificationPlan, plan
from experiments.verification_runs import VerificationRun
from models.noise import COMMON_SHARE, DAY_SHARE, RUN_TIME_SD, VESSEL_RSD
from models.system import Array

PLANS = ((3, 3), (6, 3), (6, 6), (9, 3), (12, 4), (12, 12))
SETTING: Setting = {"set_temperature_c": 45.0, "ramp_rate_mbar_per_min": 50.0,
                    "end_pressure_mbar": 60.0}
TARGET, VESSELS, RUN_TIME_MIN = 80.0, 8, 40.0
ANALYTES = ("carvone", "limonene", "dibutyl phthalate")
USUAL = Noise(VESSEL_RSD, 0.06, 0.175, 0.04, 0.075, shared=DAY_SHARE, common=COMMON_SHARE)
"""The scatter that a plan assumes."""
QUIET = Noise(0.02, 0.005, 0.005, 0.03, 0.05, shared=0.5, common=0.5)
LOUD = Noise(0.05, 0.08, 0.25, 0.05, 0.10, shared=0.5, common=0.5)
RINGS = tuple(0.05 if i % 2 else -0.05 for i in range(VESSELS))
LAGGING = (-0.20, *([0.0] * (VESSELS - 1)))


@dataclass(frozen=True)
class Scene:
    """A method as it truly is: true means [3] in percent, scatter, relative positions [8]."""

    name: str
    means: tuple[float, float, float]
    noise: Noise = USUAL
    positions: tuple[float, ...] = (0.0,) * VESSELS
    run_time_min: float = RUN_TIME_MIN

    @property
    def is_bad(self) -> bool:
        """Whether a target is truly missed."""
        return min(self.means) < TARGET


BAD = (
    Scene("one analyte just below", (79.99, 99.0, 99.0)),
    Scene("one just below, hardly any scatter", (79.99, 99.0, 99.0), QUIET),
    Scene("one just below, much scatter", (79.99, 99.0, 99.0), LOUD),
    Scene("one just below, unlike rings", (79.99, 99.0, 99.0), QUIET, RINGS),
    Scene("one just below, a vessel lags by 20 %", (79.99, 99.0, 99.0), QUIET, LAGGING),
    Scene("one 2 points below", (78.0, 99.0, 99.0), QUIET),
    Scene("all three just below", (79.99, 79.99, 79.99)),
    Scene("one 5 points below", (75.0, 99.0, 99.0)),
)
GOOD = (
    Scene("5 points above", (85.0, 85.0, 85.0)),
    Scene("8 points above", (88.0, 88.0, 88.0)),
    Scene("12 points above", (92.0, 92.0, 92.0)),
    Scene("12 points above, unlike rings", (92.0, 92.0, 92.0), USUAL, RINGS),
    Scene("18 points above", (98.0, 98.0, 98.0)),
)


@dataclass(frozen=True)
class Rate:
    """How many of the sets passed, and the chance of it that the plan announced."""

    scene: Scene
    runs: int
    days: int
    passed: int
    sets: int
    planned: float
    failing: dict[str, int] = field(default_factory=dict)  # by criterion

    @property
    def interval(self) -> tuple[float, float]:
        """Exact 95 % interval of the share that passes (Clopper & Pearson 1934)."""
        found = binomtest(self.passed, self.sets).proportion_ci(0.95, method="exact")
        return float(found.low), float(found.high)

    @property
    def sentence(self) -> str:
        """The figures in words: passes of bad methods, rejections of good ones."""
        low, high = self.interval
        share, said = self.passed / self.sets, ""
        if not self.scene.is_bad:
            low, high, share = 1.0 - high, 1.0 - low, 1.0 - share
            said = f"; planned {1.0 - self.planned:.1%}"
        verb = "passes" if self.scene.is_bad else "is rejected"
        return (f"{self.runs:>2} runs on {self.days:>2} days: {self.scene.name} {verb} "
                f"{share:.1%} ({low:.1%} to {high:.1%}) of {self.sets}{said}")


@dataclass(frozen=True)
class KnownMethod:
    """A forecaster that knows the true means of a scene and how unlike its vessels are."""

    job: EvaporationJob
    scene: Scene

    @property
    def vessel_rsd(self) -> float:
        """Between vessels, positions included, as the trials would have shown."""
        return float(np.hypot(self.scene.noise.vessel, np.std(self.scene.positions, ddof=1)))

    def probability(self, settings: Sequence[Setting]) -> Array:
        return np.full(len(settings), float(not self.scene.is_bad))

    def forecast(
        self, settings: Sequence[Setting], level: float = 0.95, new_run: bool = False
    ) -> list[Forecast]:
        reach = float(np.exp(norm.ppf(0.5 + 0.5 * level) * (RUN_TIME_SD if new_run else 0.0)))
        minutes = self.scene.run_time_min
        means = zip(ANALYTES, self.scene.means, strict=True)
        return [Forecast(
            setting=dict(setting),
            run_time_min=Interval(minutes, minutes / reach, minutes * reach),
            recovery_percent={name: Interval(m, m, m) for name, m in means},
            probability=float(not self.scene.is_bad),
            finish_probability=1.0,
        ) for setting in settings]


def rate(scene: Scene, runs: int, days: int, sets: int, seed: int = 1) -> Rate:
    """Play so many verifications of a scene by a plan of so many runs and days."""
    job = study_job()
    made = plan(KnownMethod(job, scene), SETTING, default_criteria(job, runs=runs, days=days))
    bench = _bench(scene, job)
    passed, failing = 0, dict[str, int]()
    for i in range(sets):
        found = decide(job, made, _runs(bench, job, made, np.random.default_rng([seed, i])))
        passed += found.decision == "pass"
        for name in {c.name for c in found.criteria if c.decides and c.met is False}:
            failing[name] = failing.get(name, 0) + 1
    return Rate(scene, runs, days, passed, sets, made.chance_of_passing, failing)


def study_job() -> EvaporationJob:
    """Three analytes in eight vessels, all with the same target."""
    return parse({
        "title": "Three terpenes and esters from hexane", "seed": 5,
        "equipment": {
            "name": "Evaporator S", "vessels": VESSELS, "vessel_capacity_ml": 100,
            "relative_centrifugal_force": 400, "rotor_radius_mm": 150,
            "condenser_temperature_c": -20, "condenser_capacity_ml": 1000,
            "ramp_start_pressure_mbar": 600, "ultimate_pressure_mbar": 2,
            "end_point_load_fraction": 0.1, "end_point_hold_min": 3,
        },
        "factors": {
            "set_temperature_c": {"low": 30, "high": 60, "step": 1},
            "ramp_rate_mbar_per_min": {"low": 5, "high": 200},
            "end_pressure_mbar": {"low": 10, "high": 200},
        },
        "sample": {"fill_volume_ml": 40, "max_temperature_c": 55, "end_volume_ml": 0,
                   "solvents": [{"name": "n-hexane", "volume_fraction": 1.0}]},
        "analytes": [{"name": n, "target_recovery_percent": TARGET} for n in ANALYTES],
        "limits": {"max_run_time_min": 120, "assurance": 0.95, "trials": 12,
                   "trials_per_batch": 3},
    })


def _bench(scene: Scene, job: EvaporationJob) -> Bench:
    """A bench whose one setting gives the scene's means, position by position."""
    shape = 1.0 + np.array(scene.positions)
    vessels = np.array(scene.means)[None, :] * (shape / shape.mean())[:, None]
    truth = Truth(np.array([scene.run_time_min]), vessels[None], np.array([0]), np.array([0.1]))
    mapping = {
        "equipment": {"vessels": VESSELS}, "analytes": [{"name": a.name} for a in job.analytes],
        "limits": {"max_run_time_min": job.limits.max_run_time_min},
    }
    return Bench("known", 0, "known", mapping, (), scene.noise, lambda _: truth, 1.0)


def _runs(
    bench: Bench, job: EvaporationJob, made: VerificationPlan, rng: np.random.Generator
) -> list[VerificationRun]:
    """One set of runs as planned; the vessel of the blank holds no spike."""
    runs = []
    for planned in made.runs:
        given = bench.run(SETTING, rng, day=planned.day)
        if planned.blank_vessel is not None:
            for readings in given["recovery_percent"].values():
                readings[planned.blank_vessel - 1] = None
        result = check_result(job, day=f"day {planned.day}", **given)
        runs.append(VerificationRun(planned.id, SETTING, result))
    return runs


def main(argv: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--sets", type=int, default=1000)
    given = parser.parse_args(argv)
    for title, scenes in (("Bad methods", BAD), ("Good methods", GOOD)):
        print(title)
        for scene in scenes:
            for runs, days in PLANS:
                found = rate(scene, runs, days, given.sets)
                often = sorted(found.failing.items(), key=lambda item: -item[1])
                print(found.sentence, *(f"{n} {k}" for n, k in often), sep="; ", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
