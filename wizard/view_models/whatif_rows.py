"""The answer to "what if": a sentence, a small table, and the difference to today's method."""

from __future__ import annotations

from experiments.answers import Forecast, chances, weakest
from experiments.job import EvaporationJob
from experiments.limiting import what_limits
from experiments.wording import as_asked, percent
from wizard.units import Units, change_text
from wizard.view_models.settings_text import goal, minutes, recovery_range

SMALL_RISK = 0.97
"""Chance above which no single thing explains what stands against a setting."""


def whatif_sentence(found: Forecast, job: EvaporationJob) -> str:
    """Whether the setting may be used, and what stands against it."""
    asked = job.limits.assurance
    time = found.run_time_min.mean
    met = percent(found.probability)
    start = f"About {time:.0f} min; every target is met with {met} probability"
    if found.probability >= asked:
        return f"{start}, at least the asked {as_asked(asked)}: worth proving by verification."
    return f"{start}, below the asked {as_asked(asked)}: {_against(found, job)}."


def _against(found: Forecast, job: EvaporationJob) -> str:
    worst = weakest(job, found)
    if chances(job, found)[worst] > SMALL_RISK:
        return "several small risks add up"
    return what_limits(job, found)


def whatif_lines(
    found: Forecast, job: EvaporationJob, today: Forecast | None, units: Units
) -> list[dict[str, str]]:
    """Run time, each recovery and the risks, beside the method in use when there is one."""
    lines = [_line("run time", minutes(found.run_time_min),
                   f"at most {job.limits.max_run_time_min:g} min",
                   _change(found.run_time_min.mean,
                           None if today is None else today.run_time_min.mean, "min"))]
    for analyte in job.analytes:
        was = today.recovery_percent[analyte.name].mean if today is not None else None
        lines.append(_line(
            analyte.name, recovery_range(found.recovery_percent[analyte.name]),
            goal(analyte),
            _change(found.recovery_percent[analyte.name].mean, was, "points"),
        ))
    lines.append(_line("boil-over", percent(found.boil_over_probability), "", ""))
    cap = units.text("max_temperature_c", job.sample.max_temperature_c)
    lines.append(_line("sample too warm", percent(found.too_warm_probability),
                       f"at most {cap}", ""))
    if today is None:
        for line in lines:
            line.pop("against today")
    return [{k: units.sign(v) for k, v in line.items()} for line in lines]


def _line(what: str, expected: str, asked: str, change: str) -> dict[str, str]:
    return {"": what, "expected": expected, "asked": asked, "against today": change}


def _change(now: float, was: float | None, unit: str) -> str:
    return "" if was is None else change_text(now - was, unit)
