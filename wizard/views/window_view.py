"""What physics allows: the operating map, the limits with their numbers, a predicted run."""

from __future__ import annotations

import streamlit as st

from experiments.authorisation import job_cautions
from experiments.dossier import Dossier
from experiments.physics import PhysicsModel
from experiments.window import window_limits
from wizard import caching
from wizard.session import WizardSession, digest
from wizard.units import Units
from wizard.verbatim import verbatim
from wizard.view_models.setting_entry import middle_setting
from wizard.view_models.window_limits import limit_lines
from wizard.views.cautions_view import DEFER, show_findings
from wizard.views.map_view import ramp_choice, show_map
from wizard.views.run_view import show_run
from wizard.views.setting_view import put_setting, setting_inputs


def render(session: WizardSession) -> None:
    """Draw the window."""
    dossier = session.must_dossier()
    units = session.units
    answer = st.empty()
    today = dossier.job.today or None
    ramp = ramp_choice(session, dossier, "window.ramp", today)
    clicked = show_map(session, dossier, ramp, today, known="physics", answer=answer,
                       widget="window.map")
    if clicked is not None:
        put_setting(session, dossier, "window.run", clicked)
    st.subheader("A run at one setting", anchor=False)
    setting = setting_inputs(session, dossier, "window.run", middle_setting(dossier.job, ramp))
    if setting is not None:
        show_run(session, dossier, setting)
    _limits(dossier, units)
    findings = caching.kept(
        "findings", digest(dossier.job),
        lambda: (*job_cautions(dossier.job), *PhysicsModel(dossier.job).findings),
    )
    show_findings(findings, units, "Cautions, and what the forecasts rest on")
    st.caption(DEFER)


def _limits(dossier: Dossier, units: Units) -> None:
    limits = caching.kept("limits", digest(dossier.job), lambda: window_limits(dossier.job))
    with st.expander("The limits with their numbers", expanded=True):
        for heading, lines in limit_lines(limits, units).items():
            st.markdown(f"**{heading}**\n\n" + "\n".join(
                f"- *{verbatim(name)}*: {verbatim(text)}" for name, text in lines))
