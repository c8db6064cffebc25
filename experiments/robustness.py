"""Robustness: a small factorial around a setting, planned beforehand and analysed.

Factors are moved together by twice what the equipment holds, in a two-level factorial or a
half-fraction of one with centre runs between (Box, Hunter & Hunter 2005, ch. 5 and 6; the
deliberate variation of ICH Q2(R2) and Q14, from memory). Main effects are estimated by least
squares; one run's scatter is the usual one of :mod:`models.noise`, because a few runs say
little of it. What is judged is the setting at its worst corner, not single effects: with so few
runs an effect that does not show is no proof that there is none.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from experiments.dossier import Dossier
from experiments.entries import EntryError, check_setting
from experiments.factor_space import numeric_factors, setting_key, tolerances
from experiments.job import FACTOR_WORDS, EvaporationJob, Factor, Setting
from experiments.readings import mean_and_vessels
from experiments.reasons import boil_over_warning
from experiments.trials import FAILING, Trial
from experiments.wording import capital
from models.noise import RUN_TIME_SD, mean_variance
from models.system import Array

ORIGIN = "robustness"
CENTRES = 2
CONFIDENCE = 0.95
LEAST_STEP = 0.03
"""Least step of a factor that the equipment's tolerance says nothing of, as a share of its
window."""


@dataclass(frozen=True)
class Effect:
    """What moving one factor from its low to its high level did, with its 95 % interval.

    ``forecast`` is what the fitted run model expects; points of recovery, or per cent of the run
    time.
    """

    factor: str
    low: float
    high: float
    response: str
    estimate: float
    interval: tuple[float, float]
    forecast: float
    sentence: str


@dataclass(frozen=True)
class WorstCorner:
    """Where an analyte is lowest among the settings tried, and how sure its target is there."""

    analyte: str
    mean: float
    lower_limit: float
    target: float
    verdict: str  # "holds" | "not shown" | "fails"
    sentence: str


@dataclass(frozen=True)
class Robustness:
    """The analysis of a factorial whose runs are all recorded."""

    setting: Setting
    trials: tuple[str, ...]
    effects: tuple[Effect, ...]
    corners: tuple[WorstCorner, ...]
    failed_runs: tuple[str, ...]
    untold: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether every run ended well and every target is shown to hold at its worst corner."""
        return not self.failed_runs and not self.untold and all(
            c.verdict == "holds" for c in self.corners)


def steps(job: EvaporationJob) -> dict[str, float]:
    """How far each numeric factor is moved either way from the set point."""
    held, found = tolerances(job), {}
    for factor in numeric_factors(job):
        least = max(factor.resolution, LEAST_STEP * (factor.high - factor.low))
        wanted = 2.0 * held.get(factor.name, 0.0) or least
        resolution = factor.resolution or 1e-9
        found[factor.name] = max(round(wanted / resolution), 1) * resolution
    return found


def factorial_settings(job: EvaporationJob, setting: Setting) -> list[Setting]:
    """Corners of the factorial and centre runs, in the order of the design.

    Raises
    ------
    EntryError
        when nothing can be moved, or a level would not be above zero or could not be run
    """
    moved = steps(job)
    if not moved:
        raise EntryError("No factor of this job can be moved.", "Give a factor low and high.")
    names = list(moved)
    found: list[Setting] = []
    for signs in _signs(len(names)):
        levels = {n: float(setting[n]) + s * moved[n] for n, s in zip(names, signs, strict=True)}
        found.append({**setting, **{n: round(v, 6) for n, v in levels.items()}})
    low = [n for n in names if min(float(s[n]) for s in found) <= 0.0]
    if low:
        raise EntryError(f"The set point is too close to zero to lower {FACTOR_WORDS[low[0]][0]}.",
                         "Give a smaller tolerance of the equipment, or another setting.")
    for corner in found:
        try:
            check_setting(job, corner)
        except EntryError as error:
            raise EntryError(f"A run of the study could not be made: {error.message}",
                             "Give a smaller tolerance of the equipment, or another setting."
                             ) from error
    return [*found, *[dict(setting)] * CENTRES]


def _signs(count: int) -> list[tuple[int, ...]]:
    """Levels of the corners; from three factors on the last is the product of the others."""
    free = count if count <= 2 else count - 1
    rows = itertools.product((-1, 1), repeat=free)
    return [row if free == count else (*row, math.prod(row)) for row in rows]


def plan_robustness(dossier: Dossier, setting: Setting) -> list[Trial]:
    """Enter the runs of a factorial around a setting as pending trials, in random order."""
    if any(t.origin == ORIGIN for t in dossier.pending):
        raise EntryError("A robustness study is already planned.",
                         "Record its runs, or withdraw them first.")
    job = dossier.job
    settings = factorial_settings(job, setting)
    forecasts = dossier.fitted().forecast(settings)
    order = np.random.default_rng([job.seed, 73, len(dossier.trials)]).permutation(len(settings))
    ids = []
    for i in order:
        reason = _reason(job, setting, settings[i]) + boil_over_warning(forecasts[i])
        ids.append(dossier.enter_pending(settings[i], ORIGIN, reason, forecasts[i]))
    return [dossier.trial(trial_id) for trial_id in ids]


def _reason(job: EvaporationJob, setting: Setting, moved: Setting) -> str:
    parts, beyond = [], []
    for factor in numeric_factors(job):
        value, centre = float(moved[factor.name]), float(setting[factor.name])
        name, unit = FACTOR_WORDS[factor.name]
        if value != centre:
            parts.append(f"{name} {'raised' if value > centre else 'lowered'} to {value:g} {unit}")
        if not factor.low <= value <= factor.high:
            beyond.append(name)
    what = f"Robustness: {', '.join(parts) if parts else 'the set point itself'}."
    if not beyond:
        return what
    return f"{what} Beyond the job's own range of {' and '.join(beyond)}: make sure it can be run."


def analyse_robustness(dossier: Dossier) -> Robustness | None:
    """The analysis of the last factorial; None while a run of it is missing."""
    trials = _last_study(dossier)
    if not trials or any(t.state == "pending" for t in trials):
        return None
    keys = [setting_key(t.setting) for t in trials]
    centre = next((t.setting for t in trials if keys.count(setting_key(t.setting)) > 1), None)
    trials = [t for t in trials if t.state == "recorded"]
    if centre is None or not trials:
        return None
    job = dossier.job
    factors = [f for f in numeric_factors(job)
               if len({float(t.setting[f.name]) for t in trials}) > 1]
    forecasts = dossier.fitted().forecast([t.setting for t in trials])
    effects: list[Effect] = []
    corners: list[WorstCorner] = []
    untold: list[str] = []
    times = np.array([_ln_time(t) for t in trials])
    effects += _effects(factors, trials, "run time", times, np.full(len(trials), RUN_TIME_SD),
                        np.log([f.run_time_min.mean for f in forecasts]))
    for analyte in job.analytes:
        seen, error = _readings(job, trials, analyte.name)
        expected = np.array([f.recovery_percent[analyte.name].mean for f in forecasts])
        effects += _effects(factors, trials, analyte.name, seen, error, expected)
        if analyte.role != "must":
            continue
        if _can_tell(_design(factors, trials), seen):
            corners.append(_corner(factors, trials, analyte.name, seen, error,
                                   analyte.target_recovery_percent))
        else:
            untold.append(f"{analyte.name} was measured in too few of the runs to tell.")
    failed = tuple(f"{t.id} ended as {t.result.outcome}" for t in trials
                   if t.result is not None and t.result.outcome in FAILING)
    return Robustness(dict(centre), tuple(t.id for t in trials), tuple(effects), tuple(corners),
                      failed, tuple(untold))


def _last_study(dossier: Dossier) -> list[Trial]:
    """The runs, without those withdrawn, of the last study of which one is left.

    A study is entered at once: no other event comes between its runs.
    """
    studies: list[list[Trial]] = []
    goes_on = False
    for event in dossier.events:
        is_run = event.kind in ("proposed", "entered") and event.payload.get("origin") == ORIGIN
        if is_run:
            if not goes_on:
                studies.append([])
            studies[-1].append(dossier.trial(event.payload["trial"]))
        goes_on = is_run
    left = [[t for t in study if t.state != "withdrawn"] for study in studies]
    return next((study for study in reversed(left) if study), [])


def _can_tell(design: Array, seen: Array) -> bool:
    """Whether the runs measured determine every effect, with one to spare."""
    known = np.isfinite(seen)
    columns = design.shape[1]
    return bool(known.sum() > columns
                and np.linalg.matrix_rank(design[known]) == columns)


def _ln_time(trial: Trial) -> float:
    result = trial.result
    is_timed = result is not None and result.outcome == "finished" and result.run_time_min
    return math.log(result.run_time_min) if is_timed else math.nan  # type: ignore[union-attr,arg-type]


def _readings(job: EvaporationJob, trials: Sequence[Trial], name: str) -> tuple[Array, Array]:
    """Mean recovery of each run in percent and the standard deviation of such a mean.

    A reading below its limit counts as nothing, the worst that it allows.
    """
    seen, error = np.full(len(trials), np.nan), np.full(len(trials), np.nan)
    for i, trial in enumerate(trials):
        result = trial.result
        if result is None or result.outcome != "finished" or result.corrected:
            continue
        _, count = mean_and_vessels(result, name, job.equipment.vessels)
        if count:
            seen[i], _ = result.mean_span(name)
            variance = mean_variance(np.array(seen[i] / 100.0), np.array(count))
            error[i] = 100.0 * math.sqrt(float(variance))
    return seen, error


def _design(factors: Sequence[Factor], trials: Sequence[Trial]) -> Array:
    """Intercept and factors coded -1 to 1, [n, 1 + F]."""
    columns = [np.ones(len(trials))]
    for factor in factors:
        x = np.array([float(t.setting[factor.name]) for t in trials])
        columns.append(2.0 * (x - x.min()) / (x.max() - x.min()) - 1.0)
    return np.column_stack(columns)


def _fitted(design: Array, seen: Array, error: Array) -> tuple[Array, Array]:
    """Coefficients and their covariance by weighted least squares over what was measured."""
    known = np.isfinite(seen)
    weighted = design[known] / error[known, None]
    covariance = np.asarray(np.linalg.inv(weighted.T @ weighted), dtype=float)
    return covariance @ weighted.T @ (seen[known] / error[known]), covariance


def _effects(
    factors: Sequence[Factor], trials: Sequence[Trial], response: str, seen: Array, error: Array,
    expected: Array,
) -> list[Effect]:
    design = _design(factors, trials)
    if not _can_tell(design, seen):
        return []
    beta, covariance = _fitted(design, seen, error)
    usual, _ = _fitted(design, expected, np.ones(len(trials)))
    is_time = response == "run time"
    found = []
    for k, factor in enumerate(factors, start=1):
        reach = 2.0 * float(norm.ppf(0.975) * np.sqrt(covariance[k, k]))
        middle = 2.0 * float(beta[k])
        values = (middle, middle - reach, middle + reach, 2.0 * float(usual[k]))
        if is_time:
            values = tuple(100.0 * math.expm1(v) for v in values)  # type: ignore[assignment]
        levels = [float(t.setting[factor.name]) for t in trials]
        found.append(Effect(
            factor.name, min(levels), max(levels), response, values[0], (values[1], values[2]),
            values[3], _effect_words(factor.name, response, min(levels), max(levels), values)))
    return found


def shows(low: float, high: float) -> bool:
    """Whether an effect with that interval shows: zero lies outside."""
    return low > 0.0 or high < 0.0


def _effect_words(
    factor: str, response: str, low: float, high: float, values: tuple[float, ...]
) -> str:
    name, unit = FACTOR_WORDS.get(factor, (factor, ""))
    measure = "%" if response == "run time" else "points"
    unsaid = "" if shows(values[1], values[2]) else "; it does not show in these runs"
    return (
        f"{capital(name)} from {low:g} to {high:g} {unit}: {response} "
        f"{values[0]:+.1f} {measure} ({values[1]:+.1f} to {values[2]:+.1f}), forecast "
        f"{values[3]:+.1f}{unsaid}."
    )


def _corner(
    factors: Sequence[Factor], trials: Sequence[Trial], name: str, seen: Array, error: Array,
    target: float,
) -> WorstCorner:
    """The lowest predicted mean over the settings tried, with its one-sided limit."""
    design = _design(factors, trials)
    beta, covariance = _fitted(design, seen, error)
    mean = design @ beta
    reach = float(norm.ppf(CONFIDENCE)) * np.sqrt(np.einsum("ni,ij,nj->n", design, covariance,
                                                            design))
    i = int(np.argmin(mean - reach))
    limit, upper = float(mean[i] - reach[i]), float(mean[i] + reach[i])
    verdict = "holds" if limit >= target else "fails" if upper < target else "not shown"
    words = {
        "holds": "the target holds there",
        "not shown": "the runs do not show that the target holds there",
        "fails": "the target is missed there",
    }[verdict]
    return WorstCorner(
        name, float(mean[i]), limit, target, verdict,
        f"{name} is lowest at the setting of {trials[i].id}: mean {mean[i]:.1f} %, with "
        f"{100 * CONFIDENCE:g} % confidence above {limit:.1f} %, target {target:g} %; {words}.")
