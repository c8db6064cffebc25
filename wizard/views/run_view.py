"""A predicted run, drawn and said."""

from __future__ import annotations

from typing import Any

import streamlit as st

from experiments.dossier import Dossier
from experiments.job import Setting
from experiments.predicted_run import predicted_run
from wizard import answers, caching
from wizard.charts.palette import palette
from wizard.charts.run_trace import run_trace
from wizard.session import WizardSession, digest
from wizard.verbatim import verbatim
from wizard.view_models.run_panels import run_events, run_panels, run_sentence
from wizard.views import drawing


def foreseen(dossier: Dossier, setting: Setting, learnt: bool) -> dict[str, Any]:
    """The run as predicted, worked out once.

    With the usual values of the evaporator, or with what the trials taught of this one.
    """
    values = dossier.fitted().mean_parameters if learnt else None
    return caching.kept("run", _key(dossier, setting, learnt),
                        lambda: predicted_run(dossier.job, setting, values))


def _key(dossier: Dossier, setting: Setting, learnt: bool) -> str:
    rests_on = answers.record_key(dossier) if learnt else digest(dossier.job)
    return digest(rests_on, sorted(setting.items()))


def show_run(
    session: WizardSession, dossier: Dossier, setting: Setting, learnt: bool = False
) -> None:
    """Pressure, liquid temperature, volume and condenser load against time."""
    key, run = _key(dossier, setting, learnt), foreseen(dossier, setting, learnt)
    units = session.units
    st.markdown(verbatim(run_sentence(run, dossier.job, units)))
    drawing.show_stack(run_trace, run["trace"]["time_min"], run_panels(run, units),
                       palette(session.theme), run_events(run),
                       key=digest(key, units, session.theme))
    values = "what the trials taught of" if learnt else "the usual values of"
    st.caption(f"Predicted with {values} the evaporator, in the mean; the middle vessel position "
               "is shown. " + " ".join(units.sentence(f) for f in run["findings"]))
