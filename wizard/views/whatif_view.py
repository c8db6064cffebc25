"""What a setting would do, answered as it is stepped or typed."""

from __future__ import annotations

import streamlit as st

from experiments.dossier import Dossier
from experiments.job import Setting
from wizard import answers
from wizard.charts.palette import palette
from wizard.charts.recoveries import margins_chart
from wizard.session import WizardSession
from wizard.verbatim import literal, verbatim
from wizard.view_models import learn_rows
from wizard.view_models.setting_entry import middle_setting
from wizard.view_models.whatif_rows import whatif_lines, whatif_sentence
from wizard.views import drawing
from wizard.views.run_view import show_run
from wizard.views.setting_view import setting_inputs


def render(session: WizardSession) -> None:
    """Draw the fields and the answer."""
    dossier = session.must_dossier()
    if answers.fitted(dossier) is None:
        return
    start = _start(dossier)
    _answer(session, dossier, start)


def _start(dossier: Dossier) -> Setting:
    noted = dossier.details.recommendation
    if noted and noted.get("setting"):
        return dict(noted["setting"])
    return dict(dossier.job.today) if dossier.job.today else middle_setting(dossier.job)


@st.fragment
def _answer(session: WizardSession, dossier: Dossier, start: Setting) -> None:
    setting = setting_inputs(session, dossier, "whatif", start)
    if setting is None:
        return
    job, units = dossier.job, session.units
    settings = [setting, *([dict(job.today)] if job.today else [])]
    found = dossier.forecast(settings)
    st.markdown(f"#### {verbatim(units.sentence(whatif_sentence(found[0], job)))}")
    lines = whatif_lines(found[0], job, found[1] if job.today else None, units)
    st.table(literal(lines).set_index(""), border="horizontal")
    points = [*learn_rows.trial_points(dossier),
              learn_rows.forecast_point(found[0], "this", "forecast")]
    drawing.show(margins_chart, points, learn_rows.targets(job, only_must=True),
                 palette(session.theme), 260)
    st.caption("This setting (forecast) beside the trials: run time and tightest margin. Dashed: "
               "the best compromises of the runs so far.")
    if st.toggle("Show the predicted run", key="whatif.run", persist_state="session"):
        show_run(session, dossier, setting, bool(dossier.recorded))
