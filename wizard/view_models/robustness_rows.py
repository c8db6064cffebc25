"""The robustness study in sentences and rows."""

from __future__ import annotations

from experiments.job import EvaporationJob, Setting
from experiments.robustness import Effect, Robustness, factorial_settings, shows, steps
from experiments.wording import signed
from wizard.charts.differences import Difference
from wizard.units import Units
from wizard.view_models.job_fields import FACTOR_LABELS


def offer_sentence(job: EvaporationJob, setting: Setting, units: Units) -> str:
    """What the study would do: how many runs, and how far each factor is moved."""
    moved = [f"{FACTOR_LABELS[name].lower()} by ±{_step(name, step, units)}"
             for name, step in steps(job).items()]
    return (
        f"{len(factorial_settings(job, setting))} runs around the setting tell whether targets "
        f"still hold when the evaporator does not: {', '.join(moved)}, moved together, and the "
        "setting itself twice."
    )


def _step(name: str, step: float, units: Units) -> str:
    """A difference: a kelvin is as large as a degree Celsius."""
    if name.endswith("_c"):
        return units.sign(f"{step:g} {units.temperature}")
    return units.text(name, step, 4)


def verdict(found: Robustness) -> str:
    """The answer in a sentence."""
    if found.holds:
        return "Every target holds at the worst corner of the settings tried."
    return "Not every target is shown to hold at the worst corner of the settings tried."


def corner_lines(found: Robustness, units: Units) -> list[str]:
    """Runs that went wrong, then each analyte where it is lowest or why that cannot be told."""
    return [units.sentence(line) for line in (
        *(f"{run}." for run in found.failed_runs), *(c.sentence for c in found.corners),
        *found.untold)]


def effect_rows(found: Robustness) -> list[Difference]:
    """Effects on recoveries, for the chart."""
    return [
        Difference(f"{e.response}, {FACTOR_LABELS[e.factor].lower()}", e.estimate, *e.interval,
                   "shows" if shows(*e.interval) else "does not show")
        for e in found.effects if e.response != "run time"
    ]


def effect_lines(found: Robustness, units: Units) -> list[dict[str, str]]:
    """Every effect with its interval, its forecast and whether it shows."""
    return [
        {
            "of": FACTOR_LABELS[e.factor].lower(), "on": e.response,
            "from … to": f"{units.text(e.factor, e.low, 4)} … {units.text(e.factor, e.high, 4)}",
            "effect (95 %)": units.sign(
                f"{signed(e.estimate)} {_unit(e)} "
                f"({signed(e.interval[0])} to {signed(e.interval[1])})"),
            "forecast": units.sign(signed(e.forecast)),
            "verdict": "shows" if shows(*e.interval) else "does not show",
        }
        for e in found.effects
    ]


def _unit(effect: Effect) -> str:
    return "% of it" if effect.response == "run time" else "points"
