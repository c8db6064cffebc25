"""What the trials taught, in plain words: each parameter against what was assumed of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from experiments.fitted import Fitted
from experiments.wording import capital
from models.analyte_evidence import CEILING_PRIOR, CEILINGS
from models.parameters import PARAMETERS, natural
from models.posterior import StandardNormal
from models.scales import COUNT, Scales
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
        own = rng.choice(CEILINGS, size=4000, p=CEILING_PRIOR)
        prior = own * Scales.of(rng.standard_normal((4000, COUNT))).kept
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
    said = told_sentence(
        meaning, unit, float(prior_mean), (float(mean), float(low), float(high)), ratio,
    ) if told else f"{capital(meaning)}: the trials have said little so far."
    return Learnt(
        name, meaning, unit, float(prior_mean), float(prior_low), float(prior_high),
        float(mean), float(low), float(high),
        said, told,
    )


def told_sentence(
    meaning: str, unit: str, before: float, after: tuple[float, float, float], is_ratio: bool
) -> str:
    """What a quantity became: its middle against what was assumed, and its 95 % range.

    >>> told_sentence("heat transfer", "W/(m2 K)", 100.0, (120.0, 105.0, 140.0), True)
    'Heat transfer is 20 % higher than assumed (1.1 to 1.4 times, 95 %).'
    >>> told_sentence("heat transfer", "W/(m2 K)", 100.0, (120.0, 40.0, 360.0), True)
    'Heat transfer may be 20 % higher than assumed (0.4 to 3.6 times, 95 %).'
    >>> told_sentence("highest possible recovery of a", "%", 98.2, (95.4, 93.0, 100.0), False)
    'Highest possible recovery of a: now 95 % (93 to 100), assumed 98 %.'
    """
    middle, low, high = after
    subject = capital(meaning)
    if not is_ratio:
        sign = " %" if unit == "%" else ""
        return (f"{subject}: now {_short(middle)}{sign} ({_short(low)} to {_short(high)}), "
                f"assumed {_short(before)}{sign}.")
    times = middle / before
    spread = f"({_short(low / before)} to {_short(high / before)} times, 95 %)"
    if abs(times - 1.0) < 0.08:
        return f"{subject} is about as assumed {spread}."
    verb = "may be" if low <= before <= high else "is"
    if 0.5 <= times <= 2.0:
        word = "higher" if times > 1.0 else "lower"
        return f"{subject} {verb} {100 * abs(times - 1.0):.0f} % {word} than assumed {spread}."
    return f"{subject} {verb} {_short(times)} times what was assumed {spread}."


def _short(value: float) -> str:
    """A number that is known to a few per cent at best."""
    return f"{value:.0f}" if abs(value) >= 9.5 else f"{value:.2g}"
