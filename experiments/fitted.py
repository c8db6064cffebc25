"""A job with what its trials taught: forecasts, probabilities, candidate settings.

The surrogate is fitted once per set of records and kept; the same job, records (in any
order) and seed give the same draws, so every answer built on them repeats.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from experiments.answers import Forecast, Interval
from experiments.carried_prior import carried_prior
from experiments.carry_check import TimeCheck, time_check
from experiments.carry_over import CarryOver
from experiments.factor_space import FactorSpace, setting_key, unique
from experiments.held_points import HeldPoints
from experiments.job import EvaporationJob, Setting
from experiments.job_simulator import JobSimulator
from experiments.mixture_interval import central_interval
from experiments.progress import Progress
from experiments.readings import bench_data, vessel_rsd
from experiments.trials import Trial
from models.errors import ModelError
from models.noise import VESSEL_RSD, from_stabilised, run_sd, stabilised
from models.parameters import PARAMETERS
from models.quantities import MINUTE, kelvin
from models.surrogate import Draws, EvaporationSurrogate
from models.system import Array

PARTICLES = 112
LEAST_ENDING = 0.05
"""Forecasts are those of runs that end in time, where at least this share of draws does."""
HOPELESS_BELOW = 0.05
"""Chance of the best setting below which settings are told apart by how near they come."""
SPREAD = 512
"""Settings over the window that are looked at for a region apart from those around the leaders."""
LOOKS = ((16, 8), (4, 1))
"""Quick looks at settings: each uses one draw in so many, and leaves so many times the settings
asked for to the next."""
ROOM_BYTES = 128_000_000
"""Room for the draws of a fit at settings that were asked for: what a report of 25 analytes takes.
Those asked for longest ago are forgotten, and simulated again if need be."""
HIGHEST_TRUE_RECOVERY = 100.0
"""Percent: a true mean recovery cannot exceed what was there; a reading of one run can."""
TEMPERATURE_SLACK_K = 1.0
"""A sample may read this much above its cap before a setting counts as too hot."""


@dataclass(frozen=True, eq=False)
class Point:
    """Posterior draws at one setting; times in min, recoveries in percent, [P] or [P, A]."""

    time: Array
    time_sd: Array  # of ln time, left by the discrepancy
    recovery: Array
    stable: Array  # recovery on the stabilised scale of models.noise
    stable_sd: Array  # left by the discrepancy
    sample_time: Array
    sample_stable: Array
    unexplained: Array  # chance of not being dry for a reason the run model does not know
    no_boil_over: Array
    cool_enough: Array  # 0 or 1

    @property
    def size(self) -> int:
        """Bytes of all its draws."""
        return sum(draws.nbytes for draws in vars(self).values())

    @property
    def sample_recovery(self) -> Array:
        """One joint draw of the truth [P, A], percent."""
        return 100.0 * from_stabilised(self.sample_stable)


class Fitted:
    """What is known of a job after its recorded trials."""

    def __init__(
        self, job: EvaporationJob, trials: Sequence[Trial], surrogate: EvaporationSurrogate,
        simulator: JobSimulator, carried: CarryOver | None = None,
        time_check: TimeCheck | None = None,
    ) -> None:
        self.job = job
        self.carried = carried
        self.time_check = time_check
        self.trials = tuple(trials)
        self.surrogate = surrogate
        self.simulator = simulator
        self.space = FactorSpace(job)
        self._points = HeldPoints[Point](ROOM_BYTES)
        self.targets = np.array([a.target_recovery_percent for a in job.analytes])
        self.stable_targets = stabilised(self.targets / 100.0)
        self.must = np.array([a.role == "must" for a in job.analytes], dtype=bool)

    @property
    def sets_evaporator_aside(self) -> bool:
        """Whether run times spoke against what was carried over of the evaporator."""
        return self.time_check is not None and self.time_check.speaks_against

    def points(self, settings: Sequence[Setting]) -> list[Point]:
        """Posterior draws at settings, remembered while there is room for them."""
        keys = [setting_key(s) for s in settings]
        found = self._points.at(keys)
        missing = [s for s in unique(settings) if setting_key(s) not in found]
        if missing:
            found |= zip(map(setting_key, missing), self.draw(missing), strict=True)
        self._points.keep(found)
        return [found[k] for k in keys]

    def draw(self, settings: Sequence[Setting], every: int = 1) -> list[Point]:
        """Posterior draws at settings, not remembered; one draw in ``every``."""
        draws = self.surrogate.draws(
            self.simulator.rows(settings), self.space.code(settings), every)
        _check_numbers(draws, settings)
        cap = kelvin(self.job.sample.max_temperature_c) + TEMPERATURE_SLACK_K
        return [_point(draws, i, cap) for i in range(len(settings))]

    def promising(self, settings: Sequence[Setting], count: int) -> list[Setting]:
        """The ``count`` settings that quick looks on few draws find most promising."""
        kept = list(settings)
        for every, times in LOOKS:
            if len(kept) > times * count:
                points = self.draw(kept, every)
                chance = np.array([float(self.success(p).mean()) for p in points])
                time = np.array([self._mean_time(p) for p in points])
                kept = [kept[i] for i in self._best(chance, time, times * count)]
        return kept

    def _best(self, probability: Array, time: Array, count: int) -> list[int]:
        """Indices of the best few settings at several levels of assurance."""
        asked, chosen = self.job.limits.assurance, []
        for level in (asked, 0.8 * asked, 0.5 * asked):
            shortfall = np.maximum(level - probability, 0.0)
            cost = time * (1.0 + 4.0 * shortfall) + 1e3 * shortfall
            chosen += [int(i) for i in np.argsort(cost, kind="stable")[:-(-count // 3)]]
        return list(dict.fromkeys(chosen))

    def analyte_probabilities(self, point: Point) -> Array:
        """Probability [P, A] given each draw that the true mean meets its target."""
        spread = np.maximum(point.stable_sd, 1e-6)
        return np.asarray(ndtr((point.stable - self.stable_targets) / spread))

    def finish_probabilities(self, point: Point) -> Array:
        """Probability [P] given each draw that the run is over within the longest time."""
        margin = np.log(self.job.limits.max_run_time_min / point.time)
        in_time = ndtr(margin / np.maximum(point.time_sd, 1e-4))
        return np.asarray(in_time * (1.0 - point.unexplained))

    def success(self, point: Point) -> Array:
        """Probability [P] given each draw that everything asked of a setting holds."""
        together = np.where(self.must, self.analyte_probabilities(point), 1.0).prod(axis=1)
        return np.asarray(together * self.ends_well(point))

    def ends_well(self, point: Point) -> Array:
        """Probability [P] given each draw that a run is over in time, calm and cool enough."""
        return np.asarray(
            self.finish_probabilities(point) * point.no_boil_over * point.cool_enough)

    def sampled_success(self, point: Point) -> Array:
        """As :meth:`success` for one joint draw [P] of the truth over all settings."""
        met = np.where(self.must, point.sample_stable >= self.stable_targets, True).all(axis=1)
        in_time = point.sample_time <= self.job.limits.max_run_time_min
        keeps = point.no_boil_over * point.cool_enough * (1.0 - point.unexplained)
        return np.asarray(met * in_time * keeps)

    def probability(self, settings: Sequence[Setting]) -> Array:
        """Probability [M] that all "must" targets are met and the run ends well in time."""
        return np.array([float(self.success(p).mean()) for p in self.points(settings)])

    def promise(self, settings: Sequence[Setting]) -> Array:
        """What tells settings apart [M] where hardly any has a chance, 0 to 1.

        Half is the chance that a run ends well, half the share of its target that the worst
        analyte then reaches: liquid that never boils keeps everything and is no method.
        """
        return np.array([self._promise(p) for p in self.points(settings)])

    def _promise(self, point: Point) -> float:
        reached = np.minimum(point.recovery / np.maximum(self.targets, 1e-9), 1.0)
        worst = np.where(self.must, reached, 1.0).min(axis=1)
        return float((0.5 * (1.0 + worst) * self.ends_well(point)).mean())

    def mean_time(self, settings: Sequence[Setting]) -> Array:
        """Posterior mean run time [M], min, of runs that end in time.

        The mean over the draws, each with what its discrepancy leaves open at its median: where
        that is much, a mean would hang on the few widest draws alone.
        """
        return np.array([self._mean_time(p) for p in self.points(settings)])

    def _mean_time(self, point: Point) -> float:
        return float(point.time[self._ends(point)].mean())

    def _ends(self, point: Point) -> NDArray[np.bool_]:
        """Draws [P] in which the run ends in time; all of them where it hardly ever does."""
        ends = point.time <= self.job.limits.max_run_time_min
        return ends if ends.mean() >= LEAST_ENDING else np.ones_like(ends)

    def forecast(
        self, settings: Sequence[Setting], level: float = 0.95, new_run: bool = False
    ) -> list[Forecast]:
        """Forecasts at settings; ``new_run`` widens the intervals to what one run may show."""
        return [
            self._forecast(setting, point, level, new_run)
            for setting, point in zip(settings, self.points(settings), strict=True)
        ]

    def _forecast(
        self, setting: Setting, point: Point, level: float, new_run: bool
    ) -> Forecast:
        noise = self.stable_reading_noise(point) * new_run
        ends = self._ends(point)
        times = np.exp(central_interval(
            np.log(point.time)[ends], point.time_sd[ends], noise[ends, 0], level))
        recovery = {}
        highest = np.inf if new_run else HIGHEST_TRUE_RECOVERY
        for i, analyte in enumerate(self.job.analytes):
            low, high = 100.0 * from_stabilised(central_interval(
                point.stable[ends, i], point.stable_sd[ends, i], noise[ends, 1 + i], level))
            values = (float(point.recovery[ends, i].mean()), float(low), float(high))
            recovery[analyte.name] = Interval(*(min(max(v, 0.0), highest) for v in values))
        each = self.analyte_probabilities(point)[ends].mean(axis=0)
        return Forecast(
            setting=dict(setting),
            run_time_min=Interval(self._mean_time(point), float(times[0]), float(times[1])),
            recovery_percent=recovery,
            probability=float(self.success(point).mean()),
            finish_probability=float(self.finish_probabilities(point).mean()),
            boil_over_probability=float(1.0 - point.no_boil_over.mean()),
            too_warm_probability=float(1.0 - point.cool_enough.mean()),
            analyte_probability={
                a.name: float(p) for a, p in zip(self.job.analytes, each, strict=True)
            },
        )

    @property
    def mean_parameters(self) -> Array:
        """Run-model parameters [K] after the trials, in the mean: for the one run drawn."""
        return np.asarray(self.surrogate.posterior_.z[:, : len(PARAMETERS)].mean(axis=0))

    @property
    def common_share(self) -> Array:
        """Share [P] of the run effect's variance that the analytes of a run have in common."""
        return self.surrogate.scales_.common

    @property
    def vessel_rsd(self) -> Array:
        """Relative standard deviation [A] between the vessels of a run, positions included."""
        results = [t.result for t in self.trials if t.result is not None]
        return np.array([vessel_rsd(results, a.name) for a in self.job.analytes])

    @property
    def _time_noise(self) -> Array:
        return np.sqrt(self.surrogate.scales_.time_variance)

    def _stable_noise(self, point: Point) -> Array:
        """Standard deviation [P, A] of one run's mean recovery on the stabilised scale."""
        level = point.recovery / 100.0
        within = (VESSEL_RSD * level / run_sd(level)) ** 2 / self.job.equipment.vessels
        return np.sqrt(self.surrogate.scales_.recovery_noise[:, None] ** 2 + within)

    def reading_noise(self, point: Point) -> Array:
        """Noise sd [P, 1 + A] of one run: ln(run time) and recoveries in percent."""
        percent = 100.0 * run_sd(point.recovery / 100.0) * self._stable_noise(point)
        return np.column_stack([self._time_noise, percent])

    def stable_reading_noise(self, point: Point) -> Array:
        """Noise sd [P, 1 + A] of one run: ln(run time) and recoveries, stabilised."""
        return np.column_stack([self._time_noise, self._stable_noise(point)])

    # -- candidates ------------------------------------------------------------------

    @cached_property
    def candidates(self) -> list[Setting]:
        """Settings worth considering: spread over the window, dense where it matters."""
        rng = np.random.default_rng([self.job.seed, 29])
        found = self.space.spread(64, self.job.seed)
        found += self.promising(self.space.spread(SPREAD, self.job.seed + 1), 24)
        found += [self.space.snap(t.setting) for t in self.trials if t.state == "recorded"]
        found = unique(found)
        for width, count in ((0.15, 60), (0.07, 60), (0.03, 60)):
            near = unique(self.space.around(self.leaders(found), count, width, rng))
            found = unique(found + self.promising(near, count // 3))
        return found

    def leaders(self, settings: Sequence[Setting], each: int = 4) -> list[Setting]:
        """The best few settings at several levels of assurance."""
        best = self._best(self.probability(settings), self.mean_time(settings), 3 * each)
        return [settings[i] for i in best]


def fit(
    job: EvaporationJob, trials: Sequence[Trial], *, carried: CarryOver | None = None,
    progress: Progress | None = None,
) -> Fitted:
    """Fit the surrogate to the recorded trials; the last few fits are kept.

    Parameters
    ----------
    job : the job
    trials : any trials; only recorded ones count, in whatever order
    carried : what an earlier dossier taught
    progress : called with the share done and what is being done; may raise to cancel
    """
    recorded = sorted(
        (t for t in trials if t.state == "recorded" and t.result is not None), key=_place
    )
    told = [asdict(job), [(t.id, _canonical(t)) for t in recorded], carried and asdict(carried)]
    key = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
    with _LOCK:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    simulator = JobSimulator(job)
    space = FactorSpace(job)
    data = bench_data(job, recorded, simulator, space)
    prior, check = None, None
    if carried is not None:
        prior = carried_prior(carried, job, simulator.volatility_sd)
        check = time_check(prior, data, simulator, job.seed)
        if check is not None and check.speaks_against:
            prior = prior.without_equipment()
    surrogate = EvaporationSurrogate(
        simulator, particles=PARTICLES, seed=job.seed, carried=prior)
    surrogate.fit(
        data,
        on_step=None if progress is None else lambda b: progress(b, "learning from the trials"),
    )
    fitted = Fitted(job, recorded, surrogate, simulator, carried, check)
    with _LOCK:
        _kept[key] = fitted
        while len(_kept) > 8:
            _kept.popitem(last=False)
    return fitted


_kept: OrderedDict[str, Fitted] = OrderedDict()
_LOCK = threading.Lock()


def _canonical(trial: Trial) -> str:
    """Text of all that a fit takes from a trial; ids play no part."""
    if trial.result is None:
        return ""
    told = [setting_key(trial.setting), asdict(trial.result)]
    return json.dumps([*told, asdict(trial.log)] if trial.log else told, sort_keys=True)


def _place(trial: Trial) -> str:
    """Text that orders trials the same however they and their vessels were entered."""
    if trial.result is None:
        return ""
    sorted_readings = {name: sorted(map(str, row)) for name, row in trial.result.recovery.items()}
    return _canonical(replace(trial, result=replace(trial.result, recovery={}))) + json.dumps(
        sorted_readings, sort_keys=True)


def _check_numbers(draws: Draws, settings: Sequence[Setting]) -> None:
    """Refuse forecasts that are no numbers, before anything is built on them."""
    known = np.isfinite(draws.ln_time).all(axis=1) & np.isfinite(draws.stable).all(axis=(1, 2))
    if not known.all():
        setting = settings[int(np.argmin(known))]
        words = ", ".join(f"{name} = {value}" for name, value in setting.items())
        raise ModelError(
            f"The run model finds no number for the setting {words}.",
            "This is a fault of the program: leave that setting out by narrower bounds, and "
            "report it with the job file.",
        )


def _point(draws: Draws, i: int, cap: float) -> Point:
    """The draws at one of the settings, copied so that the others need not be kept with them."""
    return Point(
        time=np.exp(draws.ln_time[i]) / MINUTE,
        time_sd=draws.ln_time_sd[i].copy(),
        recovery=100.0 * from_stabilised(draws.stable[i]),
        stable=draws.stable[i].copy(),
        stable_sd=draws.stable_sd[i].copy(),
        sample_time=np.exp(draws.sample_ln_time[i]) / MINUTE,
        sample_stable=draws.sample_stable[i].copy(),
        unexplained=draws.unexplained[i].copy(),
        no_boil_over=draws.no_boil_over[i].copy(),
        cool_enough=(draws.peak_temperature[i] <= cap).astype(float),
    )
