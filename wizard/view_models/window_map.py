"""The operating map of a dossier, from grids in contract units to what is drawn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from experiments.dossier import Dossier
from experiments.factor_space import dialled
from experiments.job import EvaporationJob, Setting
from experiments.operating_map import WindowMap
from experiments.wording import as_asked, percent, portion
from wizard.charts.map_data import MapData, MapMark, MapRegion, inside
from wizard.units import Units, figure
from wizard.view_models.job_fields import FACTOR_LABELS
from wizard.view_models.settings_text import setting_text

REGION_NAMES = {
    "does not boil": "liquid does not boil",
    "vapour passes the condenser": "vapour passes the condenser",
    "freezes": "sample freezes",
    "keeper boils off": "keeper boils off",
    "boil-over likely": "boils over",
    "sample too warm": "sample gets too warm",
}
EVEN = 0.5


def map_data(
    found: WindowMap, job: EvaporationJob, units: Units, marks: Sequence[MapMark] = (),
    before: WindowMap | None = None,
) -> MapData:
    """What the chart draws, in the reader's units.

    Parameters
    ----------
    found : grids of what is known now
    job : for the asked assurance and the longest run
    marks : settings to show
    before : grids from physics alone, to show what the trials changed
    """
    asked = job.limits.assurance
    x, y = _edges(found, units)
    late = MapRegion("not done in time", (EVEN - found.in_time).tolist(), 0.0)
    regions = [
        late,
        *(MapRegion(REGION_NAMES.get(n, n), m.tolist(), 0.0) for n, m in found.margins.items()),
        MapRegion("even chance", found.probability.tolist(), EVEN, "even"),
        MapRegion(f"keeps every target, {as_asked(asked)}", found.probability.tolist(), asked,
                  "kept"),
    ]
    if before is not None:
        regions.append(MapRegion("before the trials", before.probability.tolist(), asked,
                                 "before"))
    return MapData(
        x=x, y=y,
        x_title=f"set temperature, {units.temperature}",
        y_title=f"end pressure, {units.pressure}",
        run_time=found.run_time_min.tolist(), regions=regions, marks=marks, timeless=late,
    )


def even_sentence(found: WindowMap) -> str:
    """What the dotted outline means, where the map has one."""
    chance = found.probability
    return " Dotted outline: an even chance." if chance.min() < EVEN <= chance.max() else ""


def beyond_sentence(found: WindowMap, marks: Sequence[MapMark], units: Units) -> str:
    """Which settings lie outside the map, as those of a robustness study may."""
    x, y = _edges(found, units)
    held = inside(marks, x, y)
    beyond = [m.label.split(":")[0] for m in marks if m not in held]
    return f" Outside the map: {', '.join(beyond)}." if beyond else ""


def _edges(found: WindowMap, units: Units) -> tuple[list[float], list[float]]:
    """Set temperatures and end pressures of the grid, in the reader's units."""
    return ([units.shown("set_temperature_c", float(v)) for v in found.set_temperature_c],
            [units.shown("end_pressure_mbar", float(v)) for v in found.end_pressure_mbar])


def setting_marks(
    dossier: Dossier, units: Units, recommended: Setting | None = None
) -> list[MapMark]:
    """The trials of a dossier, and the recommended setting, as marks."""
    marks = []
    for trial in dossier.trials:
        if trial.state == "withdrawn":
            continue
        kind = "pending" if trial.state == "pending" else "trial"
        if trial.origin == "today":
            kind = "today"
        marks.append(_mark(trial.id, trial.setting, kind, units))
    if recommended is not None:
        marks.append(_mark("R", recommended, "recommended", units))
    return marks


def _mark(label: str, setting: Setting, kind: str, units: Units) -> MapMark:
    return MapMark(
        units.shown("set_temperature_c", float(setting["set_temperature_c"])),
        units.shown("end_pressure_mbar", float(setting["end_pressure_mbar"])),
        f"{label}: {setting_text(setting, units)}", kind,
    )


def before_sentence(before: WindowMap, job: EvaporationJob) -> str:
    """Where the kept region ended before the trials."""
    if (before.probability >= job.limits.assurance).any():
        return "Dashed outline: where it ended before the trials."
    return f"Before the trials no setting here reached {as_asked(job.limits.assurance)}."


def map_sentence(found: WindowMap, job: EvaporationJob, units: Units) -> str:
    """The map in words, for those who cannot see it and as its caption."""
    asked, ramp = job.limits.assurance, found.ramp_rate_mbar_per_min
    good = found.probability >= asked
    at_ramp = f"At a ramp of {units.text('ramp_rate_mbar_per_min', ramp)}{_held(found, units)}"
    if good.any():
        rows, columns = np.nonzero(good)
        fastest = int(np.argmin(np.where(good, found.run_time_min, np.inf)))
        part = portion(float(_areas(found)[good].sum()))
        j, i = divmod(fastest, found.run_time_min.shape[1])
        return (
            f"{at_ramp}, {part} of the map keeps every target with at least "
            f"{as_asked(asked)} probability: "
            f"{_span(found.set_temperature_c[columns], 'set_temperature_c', units)} and "
            f"{_span(found.end_pressure_mbar[rows], 'end_pressure_mbar', units)}; fastest about "
            f"{found.run_time_min[j, i]:.0f} min."
        )
    best = int(np.argmax(found.probability))
    j, i = divmod(best, found.probability.shape[1])
    time = found.run_time_min[j, i]
    lasts = f", in about {time:.0f} min" if np.isfinite(time) else ""
    return (
        f"{at_ramp}, no setting reaches {as_asked(asked)} yet. The best chance is "
        f"{percent(float(found.probability[j, i]))}, near "
        f"{_place(float(found.set_temperature_c[i]), 'set_temperature_c', units)} and "
        f"{_place(float(found.end_pressure_mbar[j]), 'end_pressure_mbar', units)}{lasts}. "
        "Trials narrow this down."
    )


def _held(found: WindowMap, units: Units) -> str:
    """The free factors that the map holds still, besides the ramp rate."""
    words = [f"{FACTOR_LABELS[name].lower()} {units.text(name, value, 3)}"
             for name, value in found.held.items()]
    return f" ({', '.join(words)})" if words else ""


def _areas(found: WindowMap) -> np.ndarray:
    """Share [Y, X] of the map that each node stands for."""
    across = np.gradient(found.set_temperature_c)
    up = np.gradient(np.log(found.end_pressure_mbar))
    areas = np.outer(up, across)
    return np.asarray(areas / areas.sum())


def _span(values: np.ndarray, name: str, units: Units) -> str:
    low, high = float(values.min()), float(values.max())
    if high - low < 1e-9:
        return units.text(name, low)
    return f"{_coarse(low, name, units)} to {_coarse(high, name, units)} {units.unit(name)}"


def _place(value: float, name: str, units: Units) -> str:
    return f"{_coarse(value, name, units)} {units.unit(name)}"


def _coarse(value: float, name: str, units: Units) -> str:
    """A value read off the grid of the map, as coarse as the grid is."""
    shown = units.shown(name, value)
    return f"{shown:.0f}" if name.endswith("_c") else units.sign(figure(shown, 2))


def ramp_choices(job: EvaporationJob, count: int = 5) -> list[float]:
    """A few ramp rates over the range of the job, dialled as the equipment can."""
    factor = job.factor("ramp_rate_mbar_per_min")
    if factor.is_fixed:
        return [factor.low]
    values = np.geomspace(factor.low, factor.high, count)
    return sorted({dialled(factor, float(v)) for v in values})


def nearest_ramp(job: EvaporationJob, setting: Setting | None) -> float:
    """The ramp rate to draw the map at first: that of a setting, else a middle one."""
    choices = ramp_choices(job)
    if setting is None:
        return choices[len(choices) // 2]
    return float(setting["ramp_rate_mbar_per_min"])
