"""Which trials to run next, why, and when to stop.

A batch is built greedily: each trial is the one whose result is expected to take most
minutes off the recommended run time, given the trials already in the batch or pending.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from experiments.acquisition import (
    TruthDraws,
    best_time,
    log_weight_change,
    normalise,
    trial_values,
)
from experiments.fitted import Fitted, Progress, fit
from experiments.job import Setting
from experiments.reasons import trial_reason
from experiments.recommendation import recommend
from experiments.trials import Trial

__all__ = ["Fitted", "Proposal", "fit", "propose", "recommend"]

CONSIDERED = 56
"""Candidates whose look-ahead value is worked out."""
IMAGINED = 32
"""Possible truths each candidate is tried against."""
BATCHES_IN_USE = 400
"""Batches over which a faster method pays back the trials that found it."""


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
    room = min(n, job.limits.trials - used)
    if room <= 0:
        return Proposal((), f"the budget of {job.limits.trials} trials is spent")
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
    start = state.current()
    reasons: list[str] = []
    for i in range(room):
        if progress is not None:
            progress(0.3 + 0.7 * i / room, f"choosing trial {i + 1} of {room}")
        safe_first = used == 0 and i == 0
        setting, gain = state.safest() if safe_first else state.most_valuable()
        if not safe_first and not _is_worth(fitted, setting, gain, start < idle - 1e-9):
            break
        state.add(setting)
        chosen.append(setting)
        reasons.append(trial_reason(fitted, setting, gain, safe_first))
    if not chosen:
        return Proposal((), _stop_reason(start))
    return Proposal(tuple(_trials(fitted, chosen, reasons)), None)


def truth_draws(fitted: Fitted, settings: Sequence[Setting]) -> TruthDraws:
    """Joint draws of the truth and of what a trial would read, over ``settings``."""
    points = fitted.points(settings)
    limit = fitted.job.limits.max_run_time_min
    time = np.array([np.minimum(p.sample_time, 2.0 * limit) for p in points])
    recovery = np.array([p.sample_recovery for p in points])
    met = np.where(fitted.must, recovery >= fitted.targets, True).all(axis=2)
    keeps = np.array([p.no_boil_over * p.cool_enough for p in points])
    good = met * (time <= limit) * keeps
    reading = np.concatenate([np.log(time)[:, :, None], recovery], axis=2)
    noise = np.array([fitted.reading_noise(p) for p in points])
    keeps_liquid = np.array([p.no_boil_over > 0.5 for p in points])
    usable = (time <= limit) & keeps_liquid
    return TruthDraws(time=time, good=good, reading=reading, noise_sd=noise, usable=usable)


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
        self.assurance = fitted.job.limits.assurance
        self.safe = draws.good.mean(axis=1)
        self.chosen: list[int] = []

    def current(self) -> float:
        weight = normalise(self.log_weight)
        return float(
            best_time(self.draws.time, self.draws.good, weight, self.assurance, self.idle).mean()
        )

    def safest(self) -> tuple[Setting, float]:
        """The setting an analyst would call safe: most likely to succeed, then fastest."""
        time = self.draws.time.mean(axis=1)
        near = self.safe >= self.safe.max() - 0.05
        return self.settings[int(np.argmin(np.where(near, time, np.inf)))], 0.0

    def most_valuable(self) -> tuple[Setting, float]:
        considered = self._considered()
        after = trial_values(
            self.draws, considered, self.log_weight, self.sources, self.assurance, self.idle,
            self.rng,
        )
        best = int(np.argmin(after))
        return self.settings[int(considered[best])], self.current() - float(after[best])

    def _considered(self) -> NDArray[np.intp]:
        """Settings that might be the answer, and a spread of others."""
        time = self.draws.time.mean(axis=1)
        promising = np.argsort(time / np.clip(self.safe, 0.05, 1.0) ** 1.5, kind="stable")
        spread = self.rng.permutation(len(self.settings))
        keeps = self.safe > 0.02
        ordered = [*promising[: CONSIDERED * 2 // 3], *spread[keeps[spread]]]
        return np.array(list(dict.fromkeys(ordered))[:CONSIDERED], dtype=np.intp)

    def add(self, setting: Setting) -> None:
        """Count a trial at ``setting`` as run, its result drawn from each imagined truth."""
        index = self._index(setting)
        self.chosen.append(index)
        shock = self.rng.standard_normal((len(self.sources), self.draws.reading.shape[2]))
        self.log_weight = self.log_weight + log_weight_change(
            self.draws, index, self.sources, shock
        )

    def _index(self, setting: Setting) -> int:
        """The candidate nearest to a setting."""
        coded = self.fitted.space.code(self.settings)
        own = self.fitted.space.code([setting])
        return int(np.argmin(np.sum((coded - own) ** 2, axis=1)))


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
    trials = []
    for setting, reason, forecast in zip(chosen, reasons, fitted.forecast(chosen), strict=True):
        recovery = {
            name: {"mean": i.mean, "low": i.low, "high": i.high}
            for name, i in forecast.recovery_percent.items()
        }
        time = forecast.run_time_min
        trials.append(replace(
            Trial(id="", setting=dict(setting), reason=reason),
            run_time_min={"mean": time.mean, "low": time.low, "high": time.high},
            recovery_percent=recovery,
        ))
    return trials

