"""What the trials taught, in plain words: each parameter against what was assumed of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from experiments.fitted import Fitted
from models.analyte_evidence import CEILING_PRIOR, CEILINGS
from models.parameters import PARAMETERS, natural
from models.posterior import StandardNormal
from models.system import Array

TOLD_BY = 0.85
"""A parameter counts as learnt when its spread fell below this share of what was assumed."""


@dataclass(frozen=True)
class Learnt:
    """One quantity before and after the trials; central 95 % intervals in its unit."""

    name: str
    meaning: str
    unit: str
    prior_mean: float
    prior_low: float
    prior_high: float
    mean: float
    low: float
    high: float
    sentence: str
    is_told: bool


def what_was_learnt(fitted: Fitted) -> tuple[Learnt, ...]:
    """Run-model parameters, then the volatility and ceiling of each analyte."""
    return (*_equipment(fitted), *_analytes(fitted))


def _equipment(fitted: Fitted) -> list[Learnt]:
    heating = fitted.job.equipment.heating
    z = fitted.surrogate.posterior_.z[:, : len(PARAMETERS)]
    rng = np.random.default_rng(3)
    prior = fitted.surrogate.carried or StandardNormal()
    no_keeper = fitted.job.sample.keeper is None
    unsaid = {"breakthrough_end", *(["left_in_keeper"] if no_keeper else [])}
    before = natural(prior.draw(4000, len(PARAMETERS), rng), heating)
    after = natural(z, heating)
    return [
        _learnt(p.name, p.meaning, p.unit, before[:, i], after[:, i],
                told=bool(z[:, i].std() < TOLD_BY or abs(z[:, i].mean()) > 0.5), ratio=p.log)
        for i, p in enumerate(PARAMETERS) if p.name not in unsaid
    ]


def _analytes(fitted: Fitted) -> list[Learnt]:
    rng = np.random.default_rng(5)
    found = []
    for i, analyte in enumerate(fitted.job.analytes):
        sd = fitted.simulator.volatility_sd[i]
        z = fitted.surrogate.volatility_z_[:, i]
        found.append(_learnt(
            f"volatility of {analyte.name}", f"volatility of {analyte.name}", "x assumed",
            np.exp(sd * _before(fitted, i, rng)), np.exp(sd * z),
            told=bool(z.std() < TOLD_BY or abs(z.mean()) > 0.5), ratio=True,
        ))
        prior = rng.choice(CEILINGS, size=4000, p=CEILING_PRIOR)
        ceiling = fitted.surrogate.ceiling_[:, i]
        found.append(_learnt(
            f"ceiling of {analyte.name}", f"highest possible recovery of {analyte.name}", "%",
            100.0 * prior, 100.0 * ceiling, told=bool(ceiling.std() < TOLD_BY * prior.std()),
            ratio=False,
        ))
    return found


def _before(fitted: Fitted, analyte: int, rng: np.random.Generator) -> Array:
    """Draws of the standardised volatility multiplier as it was assumed."""
    usual, carried = rng.standard_normal(4000), fitted.surrogate.carried
    if carried is None:
        return usual
    known = carried.volatility_mean[analyte] + carried.volatility_sd[analyte] * usual
    return np.where(rng.random(4000) < carried.weight, known, usual)


def _learnt(
    name: str, meaning: str, unit: str, before: Array, after: Array, told: bool, ratio: bool
) -> Learnt:
    prior_low, prior_mean, prior_high = np.quantile(before, [0.025, 0.5, 0.975])
    low, mean, high = np.quantile(after, [0.025, 0.5, 0.975])
    return Learnt(
        name, meaning, unit, float(prior_mean), float(prior_low), float(prior_high),
        float(mean), float(low), float(high),
        _sentence(meaning, float(prior_mean), float(mean), told, ratio), told,
    )


def _sentence(meaning: str, before: float, after: float, told: bool, ratio: bool) -> str:
    subject = meaning[0].upper() + meaning[1:]
    if not told:
        return f"{subject}: the trials have said little so far."
    if not ratio:
        return f"{subject}: now {after:.3g}, assumed {before:.3g}."
    change = after / before - 1.0
    if abs(change) < 0.08:
        return f"{subject} is as assumed."
    if after / before > 2.0 or after / before < 0.5:
        share = after / before
        times = f"{share:.1f} times" if change > 0 else f"{100 * share:.0f} % of"
        return f"{subject} is {times} what was assumed."
    word = "higher" if change > 0 else "lower"
    return f"{subject} is {100 * abs(change):.0f} % {word} than assumed."
