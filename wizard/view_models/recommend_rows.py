"""The recommendation in numbers and sentences."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.answers import Answer, Forecast, Remedy
from experiments.job import EvaporationJob, Setting
from experiments.region import Range, Region
from experiments.wording import as_asked, percent
from wizard.units import Units, plain
from wizard.view_models.job_fields import FACTOR_LABELS
from wizard.view_models.settings_text import goal, minutes, recovery_range

FAR_BELOW = 0.15
"""How far the chance of passing may lie below the other without a word."""
HEADLINES = {
    "recommended": "Use this setting, and confirm it by verification runs.",
    "more trials needed": "Not yet: more trials are needed.",
    "nothing qualifies": "No setting in the window reaches the targets.",
}
LATER = {
    "verified": "This setting passed its verification.",
    "approved": "This setting is approved for routine use.",
    "retired": "This method is retired and no longer used.",
}
"""What stands in the place of a recommendation once its dossier is further."""


def headline(answer: Answer, state: str, is_refuted: bool) -> str:
    """What to do with the answer, as far as the dossier is."""
    if is_refuted:
        return "The trials speak for this setting, its verification runs against it."
    if answer.status == "recommended" and state in LATER:
        return LATER[state]
    return HEADLINES[answer.status]


def setting_metrics(
    setting: Setting, job: EvaporationJob, units: Units
) -> list[tuple[str, str]]:
    """Label and value of every factor, free ones first."""
    free = [f.name for f in job.free_factors]
    order = [n for n in FACTOR_LABELS if n in free]
    order += [n for n in FACTOR_LABELS if n in setting and n not in free]
    return [(FACTOR_LABELS[n], units.text(n, setting[n], 4)) for n in order if n in setting]


def passing_sentence(met: float, passing: float) -> str | None:
    """Why a setting that is likely to be good may still fail its verification, if it may."""
    if passing > met - FAR_BELOW:
        return None
    return (
        f"Why {percent(passing)} beside {percent(met)}: the one is the chance that six single "
        "runs stay within the criteria, scatter included, the other that the true means are good. "
        "The page Verify shows what each analyte needs and what more runs change."
    )


def forecast_lines(
    job: EvaporationJob, mean: Forecast, single: Forecast, units: Units
) -> list[dict[str, str]]:
    """Run time and recoveries: what the true mean is, and what one run may show."""
    limit = f"done within {job.limits.max_run_time_min:g} min"
    lines = [{
        "": "run time", "asked": limit, "true mean (95 %)": minutes(mean.run_time_min),
        "one new run (95 %)": minutes(single.run_time_min),
        "chance to meet": percent(mean.finish_probability),
    }, {
        "": "sample temperature",
        "asked": f"at most {units.text('max_temperature_c', job.sample.max_temperature_c)}",
        "true mean (95 %)": "–", "one new run (95 %)": "–",
        "chance to meet": percent(1.0 - mean.too_warm_probability),
    }, {
        "": "boil-over", "asked": "none", "true mean (95 %)": "–", "one new run (95 %)": "–",
        "chance to meet": percent(1.0 - mean.boil_over_probability),
    }]
    for analyte in job.analytes:
        lines.append({
            "": analyte.name,
            "asked": goal(analyte),
            "true mean (95 %)": recovery_range(mean.recovery_percent[analyte.name]),
            "one new run (95 %)": recovery_range(single.recovery_percent[analyte.name]),
            "chance to meet": percent(mean.analyte_probability.get(analyte.name, 0.0)),
        })
    return [{k: units.sign(v) for k, v in line.items()} for line in lines]


def range_lines(region: Region, units: Units) -> list[dict[str, str]]:
    """Ranges of each factor: held together, and one at a time."""
    alone = {r.factor: r for r in region.proven}
    return [
        {
            "factor": FACTOR_LABELS[r.factor],
            "set point": units.text(r.factor, region.setting[r.factor], 4),
            "all together": _span(r, units),
            "this one alone": _span(alone[r.factor], units) if r.factor in alone else "–",
        }
        for r in region.box
    ]


def _span(found: Range, units: Units) -> str:
    low = units.sign(plain(round(units.shown(found.factor, found.low), 3)))
    high = units.text(found.factor, found.high, 4)
    is_one = units.text(found.factor, found.low, 4) == high
    span = f"{high} only" if is_one else f"{low} to {high}"
    ends = []
    if found.open_low:
        ends.append("lower")
    if found.open_high:
        ends.append("upper")
    note = f" (to the {' and '.join(ends)} bound)" if ends else ""
    return f"{span}{note}"


def region_sentence(region: Region) -> str:
    """The region in words."""
    held = ("What the equipment holds around the set point stays inside."
            if region.tolerance_inside else
            "What the equipment holds around the set point reaches beyond it.")
    return (
        f"The region keeps every target with at least {as_asked(region.assurance)} probability "
        f"at each of its settings. {held}"
    )


def remedy_lines(remedies: Sequence[Remedy], units: Units) -> list[str]:
    """What would help, best first."""
    return [units.sentence(r.sentence) for r in remedies]


def answer_setting(answer: Answer) -> Setting | None:
    """The setting to show: the recommended one, else the best compromise."""
    if answer.setting is not None:
        return answer.setting
    return answer.compromise.setting if answer.compromise is not None else None
