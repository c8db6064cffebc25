"""How well the fit explains the bench: predicted against observed, and odd runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.fitted import Fitted
from experiments.trials import Trial
from experiments.wording import amount
from models.errors import Finding
from models.noise import misfit_with_common
from models.quantities import MINUTE
from models.system import Array

ODD_BEYOND = 3.0
"""Standardised leave-one-out residual that calls a reading odd."""


@dataclass(frozen=True)
class Reading:
    """One reading of a run with what the other runs forecast for it.

    ``observed``, ``predicted``, ``sd`` in min (run time) or percent (recoveries); ``sd`` is
    that of a new run; ``standard`` is the residual over it.
    """

    trial: str
    quantity: str
    observed: float
    predicted: float
    sd: float
    standard: float


def leave_one_out(fitted: Fitted) -> tuple[Reading, ...]:
    """Each reading against the forecast of the other runs.

    The posterior without a run is the posterior with it, reweighted by the inverse of the
    run's likelihood under each draw (importance sampling; Gelfand, Dey & Chang 1992), with
    the weights truncated (Ionides 2008).
    """
    if not fitted.trials:
        return ()
    data = fitted.surrogate.data_
    points = fitted.points([t.setting for t in fitted.trials])
    found: list[Reading] = []
    for i, (trial, point) in enumerate(zip(fitted.trials, points, strict=True)):
        noise = fitted.reading_noise(point)
        mean = np.column_stack([np.log(point.time), point.recovery])
        seen = np.concatenate([[data.ln_time[i] - np.log(MINUTE)], 100.0 * data.recovery[i]])
        weight = left_out_weights(seen, mean, noise, fitted.common_share)
        names = ["run time", *(a.name for a in fitted.job.analytes)]
        for o, name in enumerate(names):
            if not np.isfinite(seen[o]):
                continue
            centre = float(weight @ mean[:, o])
            spread = float(np.sqrt(weight @ ((mean[:, o] - centre) ** 2 + noise[:, o] ** 2)))
            standard = (float(seen[o]) - centre) / spread
            if o == 0:
                found.append(Reading(trial.id, name, float(np.exp(seen[o])), float(np.exp(centre)),
                                     float(np.exp(centre)) * spread, standard))
            else:
                found.append(Reading(trial.id, name, float(seen[o]), centre, spread, standard))
    return tuple(found)


def left_out_weights(seen: Array, mean: Array, noise: Array, common: Array) -> Array:
    """How much each draw [P] counts for the forecast of one run by the others.

    Parameters
    ----------
    seen : [1 + A] ln(run time), then recoveries in percent; nan where there is none
    mean, noise : [P, 1 + A] what the draws expect, and the standard deviation of one run
    common : [P] share of their scatter's variance that the recoveries of a run have in common
    """
    used = np.isfinite(seen)
    off = ((seen - mean) / noise)[:, used]
    recoveries = off[:, int(used[0]):]
    analytes = recoveries.shape[1]
    joint = 1.0 + (analytes - 1) * common
    log_det = (analytes - 1) * np.log(1.0 - common) + np.log(joint) if analytes else 0.0
    square = misfit_with_common(recoveries, common)
    of_time = off[:, 0] ** 2 if used[0] else 0.0
    density = -0.5 * (square + log_det + of_time) - np.log(noise[:, used]).sum(axis=1)
    weight = np.exp(np.min(density) - density)
    cap = np.mean(weight) * np.sqrt(len(weight))
    weight = np.minimum(weight, cap)
    return np.asarray(weight / weight.sum())


def odd_runs(fitted: Fitted) -> tuple[Finding, ...]:
    """Readings that neither physics nor the other runs explain, and units typed wrong.

    They are shown and keep counting: only the analyst can say that a run went wrong.
    """
    found = []
    for reading in leave_one_out(fitted):
        if abs(reading.standard) < ODD_BEYOND:
            continue
        is_time = reading.quantity == "run time"
        unit, of_what = ("min", "") if is_time else ("%", f" of {reading.quantity}")
        hint = _unit_hint(reading)
        found.append(Finding(
            "odd_reading", "caution",
            f"{reading.trial} {'took' if is_time else 'gave back'} {amount(reading.observed)} "
            f"{unit}{of_what}{_halved(fitted, reading)}, but the other runs and physics suggest "
            f"{amount(reading.predicted)} {unit}.",
            hint or "Check the entry; correct it, exclude the run with a reason, or repeat it.",
        ))
    return tuple(found) + _swapped(fitted) + lost_vessels(fitted.trials)


def _halved(fitted: Fitted, reading: Reading) -> str:
    """How readings below a limit went into the mean of a run."""
    results = [t.result for t in fitted.trials if t.id == reading.trial and t.result is not None]
    below = any(r is not None and r.censored
                for result in results for r in result.recovery.get(reading.quantity, ()))
    return " (vessels below their limit counted as half of it)" if below else ""


def lost_vessels(trials: Sequence[Trial]) -> tuple[Finding, ...]:
    """Vessels below a limit that lies far below what all their neighbours read."""
    found = []
    for trial in trials:
        for analyte, readings in (trial.result.recovery if trial.result else {}).items():
            least = min((r.percent for r in readings if r and not r.censored), default=0.0)
            found += [Finding(
                "lost_vessel", "caution",
                f"Vessel {vessel} of {trial.id} reads below {r.percent:g} % of {analyte} where "
                f"its neighbours read {least:.0f} % or more.",
                "Check for a spilt, swapped or missed vessel; correct the reading or exclude the "
                "run with a reason.",
            ) for vessel, r in enumerate(readings, start=1)
                if r and r.censored and 2.0 * r.percent < least]
    return tuple(found)


def _unit_hint(reading: Reading) -> str:
    ratio = reading.observed / reading.predicted if reading.predicted > 0 else 1.0
    for factor, words in ((60.0, "seconds instead of minutes"),
                          (1.0 / 60.0, "hours instead of minutes"),
                          (0.01, "a fraction instead of percent")):
        is_time = reading.quantity == "run time"
        if is_time == ("minutes" in words) and 0.6 < ratio / factor < 1.7:
            return f"Was it typed as {words}? Correct it if so."
    return ""


def _swapped(fitted: Fitted) -> tuple[Finding, ...]:
    """Vessels that stand out from their run for every analyte (swapped or spilt)."""
    found = []
    for trial in fitted.trials:
        if trial.result is None:
            continue
        rows = [
            [np.nan if r is None or r.censored else r.percent for r in readings]
            for name, readings in trial.result.recovery.items()
            if not trial.result.is_mean.get(name, False)
        ]
        if len(rows) < 2 or len({len(r) for r in rows}) != 1 or len(rows[0]) < 4:
            continue
        values = np.log(np.maximum(np.array(rows), 0.1))
        values = values[np.isfinite(values).any(axis=1)]  # analytes read in some vessel
        measured = np.flatnonzero(np.isfinite(values).any(axis=0))
        if len(values) < 2 or len(measured) < 4:
            continue
        values = values[:, measured]
        centre = np.nanmedian(values, axis=1, keepdims=True)
        off = np.nanmedian(values - centre, axis=0)
        scale = max(1.4826 * float(np.nanmedian(np.abs(values - centre))), 0.03)
        for place in np.flatnonzero(np.abs(off) > 4.0 * scale):
            vessel, word = measured[place], "lower" if off[place] < 0 else "higher"
            share = 100 * abs(np.expm1(off[place]))
            found.append(Finding(
                "odd_vessel", "caution",
                f"Vessel {vessel + 1} of {trial.id} reads {share:.0f} % {word} than its "
                "neighbours for every analyte.",
                "Check for a swapped, spilt or boiled-over vessel.",
            ))
    return tuple(found)
