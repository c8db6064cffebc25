"""What would help when nothing qualifies, each worked out with the fitted run model.

Changes of the job (keeper, end volume, fill) are simulated with the posterior particles of
the fit; the discrepancy is left out because it was learnt for the job as it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from experiments.answers import Remedy
from experiments.fitted import TEMPERATURE_SLACK_K, Fitted
from experiments.job import FACTOR_WORDS, MAIN_FACTORS, EvaporationJob, Keeper, Setting
from experiments.job_checks import check_job
from experiments.job_fields import Faults
from experiments.job_simulator import JobSimulator
from experiments.substance_checks import analyte_numbers
from experiments.wording import as_asked, capital, percent
from models.errors import ModelError
from models.quantities import MINUTE, kelvin
from models.substances import find_substance
from models.system import Array

KEEPERS = ("n-nonane", "n-dodecane", "1-octanol", "n-hexadecane")
"""Keepers tried, from light to heavy (common practice, no source)."""
END_SHARES = (0.02, 0.1, 0.25, 0.5)
"""Shares of the fill tried as an end volume instead of going dry."""
END_TIMES = (2.0, 5.0)
"""How many times the end volume asked for is tried."""
TRIED = 24
"""Settings each change is tried at."""


@dataclass(frozen=True)
class Change:
    """A change of the job: the words for it and the changed job.

    Of the changes of one kind only the least that suffices is advised, or else the best.
    """

    words: str
    job: EvaporationJob
    kind: str


def find_remedies(fitted: Fitted, compromise: Setting) -> tuple[Remedy, ...]:
    """Changes that raise the probability, best first; those that do not help are left out."""
    base = float(fitted.probability([compromise])[0])
    tried: dict[str, list[Remedy]] = {}
    for change in _changes(fitted.job):
        remedy = _try(fitted, change)
        if remedy is not None:
            tried.setdefault(change.kind, []).append(remedy)
    found = [_least(alike, fitted.job.limits.assurance) for alike in tried.values()]
    found += _targets(fitted, compromise)
    helpful = [r for r in found if r.probability > base + 0.05]
    return tuple(sorted(helpful, key=lambda r: -r.probability)[:6])


def _least(alike: Sequence[Remedy], asked: float) -> Remedy:
    """The first that reaches the asked assurance, or else the best, of changes from least on."""
    return next((r for r in alike if r.probability >= asked),
                max(alike, key=lambda r: r.probability))


def _changes(job: EvaporationJob) -> list[Change]:
    """Changes worth trying, but not of what was searched over already."""
    sample = job.sample
    names = {s.name for s in sample.solvents}
    kept = analyte_numbers(job)
    searched = {f.name for f in job.factors if not f.is_fixed}
    changes = []
    if not any(f.name == "keeper" for f in job.factors):
        volume = sample.keeper.volume_ml if sample.keeper else 1.0
        current = sample.keeper.name if sample.keeper else None
        for name in KEEPERS:
            if name in names or name == current or find_substance(name).cas in kept:
                continue
            keeper = Keeper(name, volume)
            changes.append(Change(f"add {volume:g} mL {name} as keeper" if current is None else
                                  f"use {name} instead of {current} as keeper",
                                  _with(job, keeper=keeper), "keeper"))
        if sample.keeper is not None and "keeper_volume_ml" not in searched:
            more = Keeper(sample.keeper.name, 2.0 * sample.keeper.volume_ml)
            changes.append(Change(f"use {more.volume_ml:g} mL keeper",
                                  _with(job, keeper=more), "keeper volume"))
    if "end_volume_ml" not in searched:
        changes += _end_volumes(job)
    if "end_point_hold_min" not in searched and sample.end_volume_control != "weighing":
        longer = max(3.0, 2.0 * job.equipment.end_point_hold_min)
        held = replace(job, equipment=replace(job.equipment, end_point_hold_min=longer))
        changes.append(Change(f"hold the end point for {longer:g} min", _with(held), "hold"))
    half = 0.5 * sample.fill_volume_ml
    changes.append(Change(f"fill {half:g} mL a vessel", _with(job, fill_volume_ml=half), "fill"))
    return changes


def _end_volumes(job: EvaporationJob) -> list[Change]:
    """End volumes instead of going dry, or larger ones than asked for, the smallest first."""
    sample = job.sample
    if sample.end_volume_ml > 0:
        return [Change(f"stop at {times * sample.end_volume_ml:g} mL",
                       _with(job, end_volume_ml=times * sample.end_volume_ml), "end volume")
                for times in END_TIMES if times * sample.end_volume_ml < sample.fill_volume_ml]
    if sample.keeper is not None:
        return []
    volumes = dict.fromkeys(max(1.0, round(s * sample.fill_volume_ml, 1)) for s in END_SHARES)
    return [Change(f"stop at {end:g} mL by weighing instead of going dry",
                   _with(job, end_volume_ml=end, end_volume_control="weighing"), "end volume")
            for end in volumes if end < sample.fill_volume_ml]


def _with(job: EvaporationJob, **sample: object) -> EvaporationJob:
    """The job with its sample changed, fixed factors of the same name following."""
    changed = replace(job, sample=replace(job.sample, **sample))  # type: ignore[arg-type]
    keeper = changed.sample.keeper
    values = {"end_volume_ml": changed.sample.end_volume_ml,
              "end_point_hold_min": changed.equipment.end_point_hold_min}
    if keeper is not None:
        values["keeper_volume_ml"] = keeper.volume_ml
    factors = tuple(
        replace(f, low=values[f.name], high=values[f.name])
        if f.name in values and f.is_fixed
        else f
        for f in job.factors
    )
    return replace(changed, factors=factors)


def _try(fitted: Fitted, change: Change) -> Remedy | None:
    """The best probability under a change; None when it is no job, or cannot be forecast."""
    faults = Faults()
    check_job(change.job, faults)
    if faults.found:
        return None
    try:
        simulator = JobSimulator(change.job)
        settings = _settings(fitted, change.job)
        probability, time = _chances(fitted, simulator, settings)
    except ModelError:
        return None
    best = int(np.argmax(probability - 1e-5 * time))
    good = probability >= change.job.limits.assurance
    if good.any():
        best = int(np.argmin(np.where(good, time, np.inf)))
    sentence = (
        f"{capital(change.words)}: the run model then gives a probability of "
        f"{percent(float(probability[best]))} of meeting every target in about "
        f"{time[best]:.0f} min (at {_words(change.job, settings[best])})."
    )
    return Remedy(change.words, sentence, float(probability[best]), float(time[best]))


def _settings(fitted: Fitted, job: EvaporationJob) -> list[Setting]:
    """Leaders of the present job and a spread, carrying the changed fixed factors."""
    settings = fitted.leaders(fitted.candidates, 4) + fitted.candidates[:TRIED]
    fixed = {f.name: f.first_value for f in job.factors if f.is_fixed}
    return [{**s, **fixed} for s in settings[:TRIED]]


def _chances(
    fitted: Fitted, simulator: JobSimulator, settings: Sequence[Setting]
) -> tuple[Array, Array]:
    """Probability and mean time [M] of the run model alone under a changed job."""
    ln_time, recovery, keeps, peak = fitted.surrogate.physics_draws(
        simulator, simulator.rows(settings), fitted.space.code(settings)
    )
    cap = kelvin(fitted.job.sample.max_temperature_c) + TEMPERATURE_SLACK_K
    met = np.where(fitted.must, 100.0 * recovery >= fitted.targets, True).all(axis=2)
    minutes = np.exp(ln_time) / MINUTE
    success = met * (minutes <= fitted.job.limits.max_run_time_min) * keeps * (peak <= cap)
    return success.mean(axis=1), minutes.mean(axis=1)


def _targets(fitted: Fitted, compromise: Setting) -> list[Remedy]:
    """Lower the weakest target, where something comes back, or only watch that analyte."""
    must = [i for i, a in enumerate(fitted.job.analytes) if a.role == "must"]
    if not must:
        return []
    point = fitted.points([compromise])[0]
    each = fitted.analyte_probabilities(point)
    weakest = min(must, key=lambda i: float(each[:, i].mean()))
    analyte = fitted.job.analytes[weakest]
    rest = fitted.success(point) / np.maximum(each[:, weakest], 1e-12)
    time = float(fitted.mean_time([compromise])[0])
    asked = fitted.job.limits.assurance
    low = fitted.forecast([compromise], level=2.0 * asked - 1.0)[0].recovery_percent[analyte.name]
    lower = float(np.floor(low.low))
    chance = asked * float(np.minimum(rest, 1.0).mean())
    watch = float(np.minimum(rest, 1.0).mean())
    where = f"at {_words(fitted.job, compromise)}"
    found = []
    if lower >= 1.0:
        found.append(Remedy(
            f"lower the target of {analyte.name}",
            f"Lower the target of {analyte.name} from {analyte.target_recovery_percent:g} to "
            f"{lower:.0f} %: it is then met with {as_asked(asked)} probability {where}.",
            chance, time,
        ))
    if len(must) > 1:
        found.append(Remedy(
            f"only watch {analyte.name}",
            f"Only watch {analyte.name}: the others are then met with a probability of "
            f"{100 * watch:.0f} % {where}.",
            watch, time,
        ))
    return found


def _words(job: EvaporationJob, setting: Setting) -> str:
    """The main factors by their units, and what else is free by its name too."""
    main = (
        f"{float(setting['set_temperature_c']):g} degC, "
        f"{float(setting['ramp_rate_mbar_per_min']):g} mbar/min, "
        f"{float(setting['end_pressure_mbar']):g} mbar"
    )
    named = [(*FACTOR_WORDS[f.name], setting[f.name])
             for f in job.free_factors if f.name not in MAIN_FACTORS]
    return ", ".join([main, *(
        f"{name} {value if isinstance(value, str) else f'{value:g} {unit}'}"
        for name, unit, value in named)])
