"""The operating map with its caption; shared by the pages that show it."""

from __future__ import annotations

from typing import Any, Literal

import streamlit as st

from experiments.dossier import Dossier
from experiments.job import Setting
from wizard import answers
from wizard.charts.operating_map import operating_map
from wizard.charts.palette import palette
from wizard.job_form import Place
from wizard.session import WizardSession, digest
from wizard.view_models import window_map
from wizard.views import drawing

Known = Literal["now", "both", "physics"]


def ramp_choice(session: WizardSession, dossier: Dossier, key: str,
                setting: Setting | None = None) -> float:
    """The ramp rate to draw the map at."""
    choices = window_map.ramp_choices(dossier.job)
    start = window_map.nearest_ramp(dossier.job, setting)
    options = sorted({*choices, start})
    if len(options) == 1:
        return options[0]
    units = session.units
    name = "ramp_rate_mbar_per_min"
    chosen = st.select_slider(
        f"Ramp rate of the map, {units.unit(name)}", options, value=start, key=key,
        format_func=lambda v: units.sign(f"{units.shown(name, v):.4g}"),
    )
    return float(chosen)


def show_map(  # noqa: PLR0913 - the pages differ in what they ask of the map
    session: WizardSession, dossier: Dossier, ramp: float, around: Setting | None = None,
    recommended: bool = False, known: Known = "now", answer: Place | None = None,
    widget: str = "",
) -> dict[str, float] | None:
    """Draw the map; where ``widget`` names it, give the values a click has just chosen.

    ``around`` is the setting the map is about, marked where it is the ``recommended`` one.
    ``known`` tells whether what the trials taught is in it: "physics" leaves it out, "both"
    outlines what was known without it as well.
    What the map says goes to ``answer`` where that is given, else below the map.
    """
    if dossier.job.factor("set_temperature_c").is_fixed or (
        dossier.job.factor("end_pressure_mbar").is_fixed
    ):
        st.markdown("Set temperature or end pressure is fixed in this job, so there is no map.")
        return None
    found = answers.operating_map(dossier, ramp, around, before=known == "physics")
    if found is None:
        return None
    before = answers.operating_map(dossier, ramp, around, before=True) if known == "both" else None
    units = session.units
    marks = window_map.setting_marks(dossier, units, around if recommended else None)
    key = digest(answers.record_key(dossier), ramp, around, known, marks, units, session.theme)
    said = window_map.map_sentence(found, dossier.job, units)

    def draw() -> Any:
        data = window_map.map_data(found, dossier.job, units, marks, before)
        return operating_map(data, palette(session.theme), can_pick=bool(widget))

    clicked = None
    if widget:
        clicked = drawing.show_to_click(draw, key=f"{key}.click", widget=widget)
    else:
        drawing.show(draw, key=key)
    change = f" {window_map.before_sentence(before, dossier.job)}" if before is not None else ""
    if answer is not None:
        answer.markdown(f"{'From physics alone: a' if known == 'physics' else 'A'}{said[1:]}")
        said = ""
    st.caption(f"{said} Shaded: closed or at risk, as named there. Grey dashes: run time."
               f"{window_map.even_sentence(found)}"
               f"{window_map.beyond_sentence(found, marks, units)}{change}"
               f"{' A click shows the run there.' if widget else ''}")
    if clicked is None:
        return None
    return {"set_temperature_c": units.kept("set_temperature_c", float(clicked["x"])),
            "end_pressure_mbar": units.kept("end_pressure_mbar", float(clicked["y"])),
            "ramp_rate_mbar_per_min": ramp}
