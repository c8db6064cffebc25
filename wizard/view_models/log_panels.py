"""The log of a run as panels, moments and sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from experiments.attached_log import MARKED, MOMENT_NAMES
from experiments.job import EvaporationJob, Setting
from experiments.log_columns import NAMES
from experiments.log_reading import InstrumentLog
from experiments.trials import is_same_time
from models.system import Array
from wizard.units import Units

TIME_UNITS = {
    "s": "seconds", "min": "minutes", "h": "hours",
    "year first": "date and time, year first (2026-03-02 08:15:30)",
    "day first": "date and time, day first (02.03.2026 08:15:30)",
    "month first": "date and time, month first (3/2/2026 8:15:30)",
    "clock": "time of day (08:15:30)",
}
"""Units of time as the page asks for them."""
SOONER = 0.8
"""Share of the ramp's own time below which an end pressure was reached too soon for it."""


def log_panels(
    log: InstrumentLog, lid_closed_min: float, units: Units
) -> tuple[list[float], dict[str, list[float | None]]]:
    """Minutes from lid-close, and title with unit -> readings, in the reader's units."""
    panels = {f"{NAMES['pressure']}, {units.pressure}":
              _shown(log.columns["pressure"], "_mbar", units)}
    for name in ("wall_temperature", "coolant_in", "coolant_out"):
        if name in log.columns:
            panels[f"{NAMES[name]}, {units.temperature}"] = _shown(
                log.columns[name], "_c", units)
    if {"coolant_in", "coolant_out"} <= set(log.columns):
        panels["warming of the coolant, K"] = _shown(
            log.columns["coolant_out"] - log.columns["coolant_in"], "", units)
    return (log.columns["time"] - lid_closed_min).tolist(), panels


def _shown(values: Array, name: str, units: Units) -> list[float | None]:
    return [None if math.isnan(v) else units.shown(name, float(v)) for v in values]


def log_events(moments: Mapping[str, Mapping[str, Any]]) -> dict[str, float]:
    """Moments worth marking on the panels, min from lid-close."""
    return {words: float(moments[name]["min"]) for name, words in MARKED.items()
            if moments[name]["min"] is not None}


def moment_lines(moments: Mapping[str, Mapping[str, Any]], units: Units) -> list[dict[str, str]]:
    """A line a moment: when, in which range, how it was found or why it cannot be told."""
    lines = []
    for name, words in MOMENT_NAMES.items():
        moment = moments[name]
        known = moment["min"] is not None
        lines.append({
            "moment": words,
            "after lid-close": units.sign(f"{moment['min']:.1f} min") if known else "cannot tell",
            "between": units.sign(
                f"{moment['low']:.1f} and {moment['high']:.1f} min") if known else "–",
            "how": units.sentence(str(moment["words"])),
        })
    return lines


def log_sentence(
    log: InstrumentLog, moments: Mapping[str, Mapping[str, Any]], units: Units
) -> str:
    """What the panels show, for those who do not see them."""
    columns = ", ".join(NAMES[n] for n in log.columns if n != "time")
    told = [f"{words} at {minutes:.1f} min" for words, minutes in log_events(moments).items()]
    lacking = [words for name, words in MARKED.items() if moments[name]["min"] is None]
    text = f"Drawn against time: {columns}. " + (
        f"Marked: {', '.join(told)}." if told else "No moment could be marked.")
    if lacking:
        text += f" Cannot be told from this log: {', '.join(lacking)}."
    return units.sentence(text)


def run_time_sentence(suggested: float | None, recorded: float | None, units: Units) -> str:
    """How the run time of a log and that on record agree."""
    if suggested is None:
        return "The log tells no run time; the one that was noted stands."
    if recorded is None:
        return units.sign(f"The log suggests a run time of {suggested:.1f} min. "
                          "None is recorded yet.")
    if is_same_time(recorded, suggested):
        return units.sign(f"The recorded run time of {recorded:g} min is that of the log.")
    return units.sign(f"The log suggests a run time of {suggested:.1f} min; {recorded:g} min is "
                      "recorded.")


def ramp_sentence(
    job: EvaporationJob, setting: Setting, moments: Mapping[str, Mapping[str, Any]], units: Units
) -> str | None:
    """That the chamber was down sooner than the ramp of the trial lets it, where it was."""
    reached = moments["end_pressure"]["high"]
    drop = job.equipment.ramp_start_pressure_mbar - float(setting["end_pressure_mbar"])
    ramp = drop / float(setting["ramp_rate_mbar_per_min"])
    if reached is None or float(reached) > SOONER * ramp:
        return None
    return units.sign(
        f"The chamber was at its end pressure after {float(moments['end_pressure']['min']):.1f} "
        f"min, but the ramp set for this trial takes {ramp:.1f} min by itself. Check that the log "
        "and the time of lid-close are those of this trial.")


def column_options(headers: Sequence[str], is_needed: bool) -> dict[str, str]:
    """Choices of a column: key -> what the page says; "" where nothing is chosen."""
    none = "choose a column" if is_needed else "not in this log"
    return {"": none, **{h: h for h in headers}}
