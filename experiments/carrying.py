"""Taking over what an earlier dossier learnt: what may be carried, how sure it still is, and
whether the runs of the new dossier agree with it.

Another solvent and another day make what was learnt less sure: to the variance of each
quantity is added that of a share of its usual prior (:data:`WIDENING`). Of an analyte's volatility
only what is of its vapour pressure goes with it into another liquid. The shares are about
what eight pairs of simulated jobs on one evaporator needed (:mod:`experiments.studies.pairs`,
seeds 2100-2107).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from experiments.carry_check import UNLIKELY
from experiments.carry_over import Carried, CarryOver, Source
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.fitted import Fitted
from experiments.job import Analyte, EvaporationJob
from experiments.job_simulator import JobSimulator
from experiments.wording import percent
from models.parameters import INDEX, PARAMETERS, Parameter, median_of

WEIGHT = 0.7
"""Probability beforehand that what is carried over holds in the new dossier."""
WIDENING = {"same liquid": 0.2, "other liquid": 0.3}
"""What is added to the spread of each quantity, as a share of its usual prior."""
WIDER = {"boil_over_limit": 0.5}
"""The same of what hangs on the liquid more than others do, with another liquid."""
TELLING = 0.9
"""A quantity is carried when its widened spread is below this share of the usual one."""
AGAINST, DOUBTFUL = 0.2, 0.5
"""Probabilities below which the runs speak against what was carried, or leave it in doubt."""
RESTS_ON: dict[str, tuple[str, ...]] = {
    "heat_transfer": ("vessel_capacity_ml",),
    "area_exponent": ("vessel_capacity_ml",),
    "vessel_spread": ("vessels", "vessel_capacity_ml"),
    "condenser_limit": ("condenser_power_w", "condenser_temperature_c"),
    "start_delay": ("pump_speed_m3_per_h", "chamber_volume_l", "ramp_start_pressure_mbar"),
    "boil_over_limit": ("vessel_capacity_ml", "relative_centrifugal_force"),
    "warming_time": ("vessel_capacity_ml",),
    "end_sensitivity": ("end_point_load_fraction",),
    "breakthrough_end": ("condenser_temperature_c",),
}
"""Parameters of the evaporator, each with the parts of it that must be the same."""
PROPERTIES = ("cas", "molar_mass_g_per_mol", "vapour_pressure", "boiling_point", "smiles")


def carry_over(earlier: Dossier, job: EvaporationJob) -> CarryOver:
    """What the results of an earlier dossier say of a new job.

    Raises
    ------
    EntryError
        when the earlier one has no results, or the two have nothing in common
    """
    if not earlier.recorded:
        raise EntryError(f"Dossier {earlier.id} has no results to learn from.",
                         "Start from one with recorded trials, or without an earlier one.")
    fitted = earlier.fitted()
    same = _liquid(earlier.job) == _liquid(job)
    share = WIDENING["same liquid" if same else "other liquid"]
    equipment, left = _equipment(fitted, job, share, same)
    analytes, also = _analytes(fitted, job, share, same)
    if not equipment and not analytes:
        raise EntryError(
            f"Nothing of dossier {earlier.id} helps here. {' '.join((*left, *also))}",
            "Start from a dossier with the same evaporator or analytes.")
    source = Source(earlier.id, earlier.job.title, earlier.version, len(earlier.events),
                    earlier.events[-1].hash, len(earlier.recorded))
    return CarryOver(source, WEIGHT, equipment, analytes, (*left, *also))


def _liquid(job: EvaporationJob) -> tuple[object, ...]:
    keeper = job.sample.keeper
    choices = [f.choices for f in job.factors if f.name == "keeper"]
    return (*sorted(s.name for s in job.sample.solvents), keeper and keeper.name, *choices)


def _equipment(
    fitted: Fitted, job: EvaporationJob, share: float, same: bool
) -> tuple[dict[str, Carried], list[str]]:
    old, new = fitted.job.equipment, job.equipment
    if (old.name, old.heating) != (new.name, new.heating):
        return {}, [f"Nothing of the evaporator: {new.name} ({new.heating}) is not {old.name} "
                    f"({old.heating})."]
    found: dict[str, Carried] = {}
    changed: dict[str, list[str]] = {}
    for name, parts in RESTS_ON.items():
        parameter = PARAMETERS[INDEX[name]]
        differing = [p for p in parts if getattr(old, p) != getattr(new, p)]
        if differing:
            changed.setdefault(differing[0], []).append(parameter.meaning)
            continue
        z = fitted.surrogate.posterior_.z[:, INDEX[name]]
        more = share if same else max(share, WIDER.get(name, 0.0))
        spread = math.hypot(float(z.std()), more)
        if spread < TELLING:
            found[name] = _natural(parameter, float(z.mean()), spread, old.heating)
    return found, [f"Not carried, because {part} differs: {', '.join(names)}."
                   for part, names in changed.items()]


def _natural(parameter: Parameter, mean: float, spread: float, heating: str) -> Carried:
    centre, step = median_of(parameter, heating), parameter.sd * mean
    moved = centre * math.exp(step) if parameter.log else centre + step
    return Carried(moved, parameter.sd * spread, parameter.log)


def _analytes(
    fitted: Fitted, job: EvaporationJob, share: float, same: bool
) -> tuple[dict[str, Carried], list[str]]:
    """Volatilities of analytes that are in both jobs with the same properties."""
    old = {a.name: (i, a) for i, a in enumerate(fitted.job.analytes)}
    usual = JobSimulator(job)
    found, left, of_liquid = {}, [], []
    for sd, activity_sd, analyte in zip(
            usual.volatility_sd, usual.activity_sd, job.analytes, strict=True):
        if analyte.name not in old:
            continue
        i, before = old[analyte.name]
        if _properties(before) != _properties(analyte):
            left.append(f"Not carried, because its properties differ: {analyte.name}.")
            continue
        assumed = float(fitted.simulator.volatility_sd[i])
        draws = assumed * fitted.surrogate.volatility_z_[:, i]
        mean, spread = float(draws.mean()), float(draws.std())
        was_learnt = spread < TELLING * assumed
        if not same:
            mean, spread = in_another_liquid(
                mean, spread, assumed, float(fitted.simulator.activity_sd[i]), float(activity_sd))
        spread = math.hypot(spread, share * float(sd))
        if spread < TELLING * sd:
            found[analyte.name] = Carried(math.exp(mean), spread)
        elif was_learnt and not same:
            of_liquid.append(analyte.name)
    if of_liquid:
        left.append("Not carried, because it is another in another liquid: volatility of "
                    f"{', '.join(of_liquid)}.")
    return found, left


def in_another_liquid(
    mean: float, sd: float, before: float, activity_before: float, activity_here: float
) -> tuple[float, float]:
    """What a volatility learnt in one liquid says of that in another: mean and sd of its ln.

    A multiplier of gamma P is one of gamma times one of P; only that of the vapour pressure goes
    with the analyte. What was learnt (``mean``, ``sd``) is shared between the two by their
    variances beforehand (``before`` and ``activity_before`` are the standard deviations of the
    whole and of gamma), as in any sum of normal terms; gamma is another one here, as uncertain as
    ``activity_here`` says.
    """
    of_pressure = max(0.0, 1.0 - (activity_before / before) ** 2)
    left = of_pressure * (1.0 - of_pressure) * before**2 + (of_pressure * sd) ** 2
    return of_pressure * mean, math.sqrt(left + activity_here**2)


def _properties(analyte: Analyte) -> tuple[object, ...]:
    return tuple(getattr(analyte, name) for name in PROPERTIES)


def probabilities(fitted: Fitted) -> dict[str, float]:
    """Probability that what was carried still holds: of "evaporator", and by analyte."""
    surrogate = fitted.surrogate
    if surrogate.carried is None or fitted.carried is None:
        return {}
    found = {}
    if fitted.carried.equipment and not fitted.sets_evaporator_aside:
        found["evaporator"] = surrogate.carried.holds(surrogate.posterior_.z)
    each = surrogate.carried.volatility_holds(surrogate.volatility_z_)
    names = [a.name for a in fitted.job.analytes]
    return found | {n: float(p) for n, p in zip(names, each, strict=True)
                    if n in fitted.carried.analytes}


@dataclass(frozen=True)
class Verdict:
    """One sentence of what the runs say, and whether they speak against what was carried."""

    sentence: str
    is_against: bool


def findings(fitted: Fitted) -> tuple[str, ...]:
    """What the runs say of what was carried over, one sentence each; doubts first."""
    return tuple(v.sentence for v in verdicts(fitted))


def verdicts(fitted: Fitted) -> tuple[Verdict, ...]:
    """The same with their weight."""
    if fitted.carried is None or not fitted.trials:
        return ()
    source, weight = fitted.carried.source.id, fitted.carried.weight
    chances = sorted(probabilities(fitted).items(), key=lambda item: item[1])
    said = tuple(Verdict(_finding(what, chance, source, weight), chance < AGAINST)
                 for what, chance in chances)
    check = fitted.time_check
    if check is None or not check.speaks_against:
        return said
    word = f"{check.ratio:.2g} times as long as" if check.ratio > 1 else (
        f"only {100 * check.ratio:.0f} % of the time that")
    return (Verdict(
        f"The runs speak against what dossier {source} knew of the evaporator: they took {word} "
        f"it predicts, which chance does in less than {100 * UNLIKELY:g} % of cases. It may be "
        f"another evaporator, or changed since then: check it. That knowledge is set aside; the "
        f"forecasts rest on the runs and the usual assumptions.", True), *said)


def _finding(what: str, chance: float, source: str, weight: float) -> str:
    subject = "the evaporator" if what == "evaporator" else f"the volatility of {what}"
    figures = (f"the probability that it holds went from {percent(weight)} to "
               f"{percent(chance)}")
    if chance < AGAINST:
        return (f"The runs speak against what dossier {source} knew of {subject}: {figures}; the "
                f"forecasts rest on the runs and the usual assumptions instead.")
    if chance < DOUBTFUL:
        return f"What dossier {source} knew of {subject} is in doubt: {figures}."
    if chance < weight:
        return f"The runs say little of what dossier {source} knew of {subject}: {figures}."
    return f"What dossier {source} knew of {subject} agrees with the runs: {figures}."
