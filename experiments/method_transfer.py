"""A method on another vessel, fill or count: the predicted change, and runs to confirm it.

The run model gives the change from the old job to the new one for every posterior draw; it is
added to the forecast of the old job, so that what the trials taught beyond the run model stays.
The change itself may be wrong by a share of its size (:data:`MAY_BE_WRONG`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.answers import Interval
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.fitted import TEMPERATURE_SLACK_K, Fitted
from experiments.forecaster import TrueValues
from experiments.job import EvaporationJob, Setting
from experiments.job_differences import differences
from experiments.job_simulator import JobSimulator
from experiments.verification import setting_to_verify
from experiments.verification_plan import SETS, WANTED_CHANCE, DesignChance, fewest_runs
from experiments.window import window_limits
from experiments.wording import percent
from models.likelihood import NEVER
from models.noise import from_stabilised, run_sd, stabilised
from models.quantities import MINUTE, kelvin
from models.system import Array

NO_DANGER = 0.9
"""Chance above which a danger is not spoken of."""
MAY_BE_WRONG = 0.3
"""Standard deviation of the error of a predicted change, as a share of it (no source)."""


@dataclass(frozen=True)
class Transfer:
    """What a method is expected to give under a changed job.

    ``run_time_min`` and ``recovery_percent`` are pairs: under the old job and the new one, with
    95 % intervals of the true mean. ``confirmation`` is the fewest runs, and their days, that
    pass a verification with 90 % chance, or the best chance there is.
    """

    setting: Setting
    changes: tuple[str, ...]
    run_time_min: tuple[Interval, Interval]
    recovery_percent: dict[str, tuple[Interval, Interval]]
    probability: tuple[float, float]
    confirmation: DesignChance
    sentences: tuple[str, ...]


def predict_transfer(dossier: Dossier, job: EvaporationJob) -> Transfer:
    """Predict the recommended setting of a dossier under a changed job.

    Raises
    ------
    EntryError
        when analytes, targets, heating, solvents or factors differ, or nothing was learnt yet
    """
    old = dossier.job
    _must_be_alike(old, job)
    if not dossier.recorded:
        raise EntryError(f"Dossier {dossier.id} has no results yet.", "Record trials first.")
    fitted, setting = dossier.fitted(), setting_to_verify(dossier)
    time, stable, keeps, cool = _moved(fitted, job, setting)
    point = fitted.points([setting])[0]
    met = np.where(fitted.must, stable >= fitted.stable_targets, True).all(axis=1)
    in_time = (time <= job.limits.max_run_time_min) * (1.0 - point.unexplained)
    chance = float((met * in_time * keeps * cool).mean())
    recovery = 100.0 * np.minimum(from_stabilised(stable), 1.0)
    before = fitted.forecast([setting])[0]
    recoveries = {a.name: (before.recovery_percent[a.name], _interval(recovery[:, i]))
                  for i, a in enumerate(job.analytes)}
    confirmation = fewest_runs(job, _truth(fitted, setting, time, recovery, keeps * cool))
    times = (before.run_time_min, _interval(time))
    changes = tuple(d.sentence for d in differences(old, job))
    return Transfer(
        dict(setting), changes, times, recoveries, (before.probability, chance), confirmation,
        (*_sentences(old, times, recoveries, (before.probability, chance), confirmation),
         *_dangers(old, job, float(keeps.mean()), float(cool.mean()))),
    )


def _must_be_alike(old: EvaporationJob, new: EvaporationJob) -> None:
    pairs = (
        ("analytes", [a.name for a in old.analytes], [a.name for a in new.analytes]),
        ("targets", [(a.target_recovery_percent, a.role) for a in old.analytes],
         [(a.target_recovery_percent, a.role) for a in new.analytes]),
        ("factors", [f.name for f in old.factors], [f.name for f in new.factors]),
        ("heating", old.equipment.heating, new.equipment.heating),
        ("solvents", old.sample.solvents, new.sample.solvents),
    )
    for what, before, after in pairs:
        if before != after:
            raise EntryError(f"The {what} of the two jobs differ.",
                             "Start a new dossier from this one instead (new --from).")


def _moved(
    fitted: Fitted, job: EvaporationJob, setting: Setting
) -> tuple[Array, Array, Array, Array]:
    """Draws under the new job: time [P] min, stabilised recovery [P, A], no boil-over, cool."""
    surrogate, new = fitted.surrogate, JobSimulator(job)
    coded = fitted.space.code([setting])
    ln_old, left_old, _, _ = surrogate.physics_draws(
        fitted.simulator, fitted.simulator.rows([setting]), coded)
    ln_cap = math.log(MINUTE * job.limits.max_run_time_min)
    ln_new, left_new, keeps, peak = surrogate.physics_draws(
        new, new.rows([setting]), coded, ln_cap)
    point = fitted.points([setting])[0]
    rng = np.random.default_rng([job.seed, 79])
    wrong = 1.0 + MAY_BE_WRONG * rng.standard_normal((2, len(point.time)))
    never = ln_new[0] >= ln_cap + np.log(NEVER)
    time = point.sample_time * np.exp(wrong[0] * (ln_new[0] - ln_old[0]))
    time = np.where(never, np.exp(ln_new[0]) / MINUTE, time)
    change = stabilised(left_new[0]) - stabilised(left_old[0])
    cap = kelvin(job.sample.max_temperature_c) + TEMPERATURE_SLACK_K
    return (time, point.sample_stable + wrong[1][:, None] * change, keeps[0],
            (peak[0] <= cap).astype(float))


def _interval(draws: Array) -> Interval:
    low, high = np.quantile(draws, [0.025, 0.975])
    return Interval(float(draws.mean()), float(low), float(high))


def _truth(
    fitted: Fitted, setting: Setting, time: Array, recovery: Array, calm: Array
) -> TrueValues:
    """Draws of the truth for planning a verification."""
    pick = np.random.default_rng([fitted.job.seed, 83]).integers(len(time), size=SETS)
    noise = fitted.reading_noise(fitted.points([setting])[0])[pick]
    level = recovery[pick]
    scale = fitted.surrogate.scales_.recovery_noise[pick][:, None]
    return TrueValues(time[pick], level, calm[pick], noise[:, 0],
                      100.0 * run_sd(level / 100.0) * scale,
                      fitted.vessel_rsd * level, fitted.common_share[pick])


def _sentences(
    job: EvaporationJob, times: Sequence[Interval],
    recoveries: dict[str, tuple[Interval, Interval]], chance: Sequence[float],
    confirmation: DesignChance,
) -> tuple[str, ...]:
    old, new = times
    worst = min(job.must, key=lambda a: recoveries[a.name][1].mean - a.target_recovery_percent)
    before, after = recoveries[worst.name]
    good = confirmation.chance >= WANTED_CHANCE
    runs = (
        f"{confirmation.runs} runs on {confirmation.days} days confirm it with a chance of "
        f"{percent(confirmation.chance)}."
        if good else
        f"The best plan found, {confirmation.runs} runs on {confirmation.days} days, confirms it "
        f"with a chance of {percent(confirmation.chance)} only: start a new dossier from this "
        "one and let trials find the setting."
    )
    return (
        f"A run takes {new.mean:.0f} min ({new.low:.0f} to {new.high:.0f}) instead of "
        f"{old.mean:.0f} min.",
        f"{worst.name} comes nearest to its target of {worst.target_recovery_percent:g} %: "
        f"{after.mean:.0f} % ({after.low:.0f} to {after.high:.0f}) instead of "
        f"{before.mean:.0f} %.",
        f"The probability of meeting every target in time goes from {percent(chance[0])} to "
        f"{percent(chance[1])}.",
        runs,
    )


def _dangers(
    old: EvaporationJob, new: EvaporationJob, calm: float, cool: float
) -> tuple[str, ...]:
    """What may go wrong in the new batch: by its draws, and by limits the old one kept."""
    before = {x.name for x in window_limits(old) if x.kind == "risk"}
    limits = [x.reason for x in window_limits(new) if x.kind == "risk" and x.name not in before]
    throws = [f"Liquid may be thrown out: the chance of boil-over is {percent(1.0 - calm)}."]
    warms = ["The sample may pass its highest temperature: the chance is "
             f"{percent(1.0 - cool)}."]
    return (*throws * (calm < NO_DANGER), *warms * (cool < NO_DANGER), *limits)
