"""Which trials to run next, why, and when to stop.

A batch is built greedily: each trial is the one expected to take most minutes off the run
time that could be recommended, given the trials already in the batch or pending.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.acquisition import (
    TruthDraws,
    improvement,
    log_weight_change,
    normalise,
    proving_chance,
    qualified_time,
    reading_shock,
)
from experiments.fitted import HOPELESS_BELOW, Fitted
from experiments.job import Setting
from experiments.misfit import misfit
from experiments.progress import Progress
from experiments.reasons import REPEATED, trial_reason
from experiments.trials import Trial
from models.system import Array

IMAGINED = 56
"""Draws that play the truth when the results of a batch are imagined."""
KEPT_APART = 0.07
"""Distance in the coded window below which two trials of a batch tell much the same."""
FIRST_APART = 0.25
"""The same for the first batch, when little is known."""
PROVED_BY = 6
"""Runs within which a setting should be able to prove that it qualifies."""
SHOCKS = 4
"""Imagined outcomes of those runs for each draw of the truth."""
WORTH_REPEATING = 0.7
"""Probability of success from which the same setting may come twice in a later batch."""
LEAST_GAIN = 1e-9
"""Minutes below which two run times are the same number."""
BATCHES_IN_USE = 400
"""Batches over which a faster method pays back the trials that found it."""
NO_CHANCE = 5e-3
"""Probability of the best setting below which no trial is worth running."""
NO_HOPE = ("after what was learnt no setting of the window has a chance to meet every target, so "
           "that a further trial would only prove it; the recommendation says what stands in the "
           "way")


@dataclass(frozen=True)
class Proposal:
    """Trials worth running (ids and run order are given by the dossier), or why none is."""

    trials: tuple[Trial, ...]
    stop_reason: str | None


def propose(
    fitted: Fitted, n: int, pending: Sequence[Trial] = (), *, progress: Progress | None = None
) -> Proposal:
    """At most ``n`` trials beyond those pending.

    Parameters
    ----------
    fitted : the job with what is known
    n : trials asked for
    pending : trials proposed earlier whose results are still to come; they count as run
    progress : called with the share done and what is being done; may raise to cancel
    """
    job = fitted.job
    used = len(fitted.trials) + len(pending)
    budget = job.limits.trials
    room = min(n, budget - used)
    if room <= 0:
        return Proposal((), f"the budget of {budget} trial{'s' * (budget > 1)} is spent")
    settings = fitted.candidates
    if progress is not None:
        progress(0.3, "weighing candidate settings")
    rng = np.random.default_rng([job.seed, 41, used])
    draws = truth_draws(fitted, settings)
    idle = _idle_minutes(fitted)
    state = _Batch(fitted, settings, draws, idle, rng)
    for trial in pending:
        state.add(fitted.space.snap(trial.setting))
    chosen: list[Setting] = []
    start = state.qualified()
    has_answer = start < idle - LEAST_GAIN
    if _is_hopeless(fitted, float(state.chance.max())):
        return Proposal((), NO_HOPE)
    left = budget - used
    reasons: list[str] = []
    for i in range(room):
        if progress is not None:
            progress(0.3 + 0.7 * i / room, f"choosing trial {i + 1} of {room}")
        safe_first = used == 0 and i == 0
        if safe_first:
            setting, gain = state.safest(), 0.0
        elif used > 0 and (i % 2 == 0 or room == left):
            setting, gain = state.to_prove(start, min(left, PROVED_BY))
        else:
            setting, gain = state.most_valuable()
        if not safe_first and not _is_worth(fitted, setting, gain, has_answer):
            break
        state.add(setting)
        reasons.append(
            REPEATED if setting in chosen else trial_reason(fitted, setting, gain, safe_first)
        )
        chosen.append(setting)
    if not chosen:
        return Proposal((), _stop_reason(start))
    return Proposal(tuple(_trials(fitted, chosen, reasons)), None)


def _is_hopeless(fitted: Fitted, best: float) -> bool:
    """Whether two batches of trials, which the run model explains, leave no chance at all."""
    learnt = len(fitted.trials) >= 2 * fitted.job.limits.trials_per_batch
    return learnt and best < NO_CHANCE and not misfit(fitted)


def truth_draws(fitted: Fitted, settings: Sequence[Setting]) -> TruthDraws:
    """Joint draws of the truth and of what a trial would read, over ``settings``."""
    points = fitted.points(settings)
    limit = fitted.job.limits.max_run_time_min
    time = np.array([_ended(p.sample_time, limit) for p in points])
    stable = np.array([p.sample_stable for p in points])
    good = np.array([fitted.sampled_success(p) for p in points])
    reading = np.concatenate([np.log(time)[:, :, None], stable], axis=2)
    noise = np.array([fitted.stable_reading_noise(p) for p in points])
    keeps_liquid = np.array([p.no_boil_over > 0.5 for p in points])
    usable = np.array([p.sample_time <= limit for p in points]) & keeps_liquid
    keeps = np.array([fitted.ends_well(p) for p in points])
    common = float(fitted.common_share.mean())
    return TruthDraws(time, good, reading, noise, usable, keeps, common)


def _ended(time: Array, limit: float) -> Array:
    """Run times [P]; draws in which the run does not end count as the mean of the others."""
    ends = time <= limit
    return np.where(ends, time, time[ends].mean() if ends.any() else limit)


class _Batch:
    """Weights earned by the trials already in the batch, and the choice of the next one."""

    def __init__(self, fitted: Fitted, settings: list[Setting], draws: TruthDraws, idle: float,
                 rng: np.random.Generator) -> None:
        self.fitted, self.settings, self.draws, self.idle, self.rng = (
            fitted, settings, draws, idle, rng
        )
        count = draws.time.shape[1]
        self.sources = np.arange(count)[:: max(1, count // IMAGINED)][:IMAGINED]
        self.log_weight = np.zeros((len(self.sources), count))
        self.coded = fitted.space.code(settings)
        self.chance = fitted.probability(settings)
        self.open = np.ones(len(settings), dtype=bool)
        self.added: list[int] = []
        self.hopeless = bool(self.chance.max() < HOPELESS_BELOW)
        if self.hopeless:
            self._look_elsewhere()

    def _look_elsewhere(self) -> None:
        """Close what lies near a run already made, which would tell the same again."""
        for trial in self.fitted.trials:
            near = self._distance(self.fitted.space.snap(trial.setting)) < KEPT_APART
            if (self.open & ~near).any():
                self.open &= ~near

    def _distance(self, setting: Setting) -> Array:
        """From a setting to every other [M], in the coded window."""
        own = self.fitted.space.code([setting])
        return np.asarray(np.sqrt(np.sum((self.coded - own) ** 2, axis=1)))

    def qualified(self) -> float:
        """Run time (min) of what could be recommended after the trials of the batch."""
        return float(self._qualified(normalise(self.log_weight)).mean())

    def _qualified(self, weight: Array) -> Array:
        return qualified_time(
            self.draws.time, self.draws.good, weight, self.fitted.job.limits.assurance, self.idle
        )

    def safest(self) -> Setting:
        """The setting an analyst would call safe: most likely to succeed, then fastest."""
        if self.hopeless:
            return self._best(self.chance)[0]
        time = self.draws.time.mean(axis=1)
        near = self.chance >= self.chance.max() - 0.05
        return self.settings[int(np.argmin(np.where(near, time, np.inf)))]

    def to_prove(self, start: float, runs: int) -> tuple[Setting, float]:
        """The open setting that ``runs`` more runs may best turn into a faster answer than
        ``start`` (min), and the minutes expected of that.

        Where no setting can be proved so soon, the likely ones go first.
        """
        must = self.fitted.must
        draws = self.draws.time.shape[1]
        shock = np.array([self._shock(draws)[:, 1:] for _ in range(SHOCKS)])
        limits = self.fitted.job.limits
        chance = proving_chance(self.draws, self.fitted.stable_targets, must, limits.assurance,
                                runs, limits.trials_per_batch, shock)
        gain = chance * np.maximum(start - self.fitted.mean_time(self.settings), 0.0)
        if not (gain[self.open] > 0.0).any():
            return self._best(self._improvement() * self.chance)
        return self._best(gain)

    def most_valuable(self) -> tuple[Setting, float]:
        """The open setting with the largest expected improvement, and that, min."""
        return self._best(self._improvement())

    def _shock(self, count: int) -> Array:
        """Standardised noise [count, 1 + A] of readings, dealt to analytes by their names."""
        rank = self.fitted.surrogate.data_.rank
        dealt = [0, *(1 + rank)]
        return reading_shock(count, len(dealt), self.draws.common, self.rng)[:, dealt]

    def _improvement(self) -> Array:
        weight = normalise(self.log_weight)
        return improvement(self.draws.time, self.draws.good, weight, self._qualified(weight))

    def _best(self, gain: Array) -> tuple[Setting, float]:
        if self.hopeless or not (gain[self.open] > 0.0).any():  # what comes nearest
            gain = 1e-9 * (1.0 + self.fitted.promise(self.settings))
        best = int(np.argmax(np.where(self.open, gain, -1.0)))
        return self.settings[best], float(gain[best])

    def add(self, setting: Setting) -> None:
        """Count a trial at ``setting`` as run, its result drawn from each imagined truth.

        The next trials keep a distance, unless only a repeat can tell whether it qualifies.
        """
        distance = self._distance(setting)
        index = int(np.argmin(distance))
        shock = self._shock(len(self.sources))
        self.log_weight = self.log_weight + log_weight_change(
            self.draws, index, self.sources, shock
        )
        is_first = not self.fitted.trials
        near = distance < (FIRST_APART if is_first else KEPT_APART)
        if self.chance[index] >= WORTH_REPEATING and index not in self.added and not is_first:
            near[index] = False
        self.added.append(index)
        self.open &= ~near


def _idle_minutes(fitted: Fitted) -> float:
    """Minutes counted for a method that does not qualify: the slowest sensible run."""
    time = np.minimum(fitted.mean_time(fitted.candidates), fitted.job.limits.max_run_time_min)
    return float(np.quantile(time, 0.9))


def _is_worth(fitted: Fitted, setting: Setting, gain: float, has_answer: bool) -> bool:
    """Whether the minutes won over the life of the method pay for the trial."""
    if not has_answer:
        return True
    cost = float(fitted.mean_time([setting])[0]) + fitted.job.limits.handling_min
    return gain * BATCHES_IN_USE > cost


def _stop_reason(start: float) -> str:
    return (
        f"another trial is expected to save less than it costs: the method now takes about "
        f"{start:.0f} min a batch and no setting promises to shorten {BATCHES_IN_USE} batches "
        "by more than the trial itself"
    )


def _trials(fitted: Fitted, chosen: Sequence[Setting], reasons: Sequence[str]) -> list[Trial]:
    return [
        Trial(id="", setting=dict(setting), reason=reason, **forecast.promise)
        for setting, reason, forecast in zip(chosen, reasons, fitted.forecast(chosen), strict=True)
    ]
