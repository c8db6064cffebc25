"""Robustness: a few runs around the setting, planned here, entered on Results, judged here."""

from __future__ import annotations

import streamlit as st

from experiments import service
from experiments.bench_sheet import trial_sheet
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN
from experiments.robustness import ORIGIN, Robustness, analyse_robustness
from experiments.verification import setting_to_verify
from wizard import caching, frame, waiting
from wizard.charts.differences import differences_chart
from wizard.charts.palette import palette
from wizard.session import WizardSession, digest
from wizard.verbatim import literal, verbatim
from wizard.view_models import robustness_rows
from wizard.views import drawing
from wizard.views.sheet_view import bench_sheet

CLOSED = ("verified", *FROZEN)
"""States in which no study begins: its runs would take the method back to trials under way."""


def robustness(session: WizardSession, dossier: Dossier) -> None:
    """The study as far as it is: offered, waiting for its runs, or judged."""
    waits = [t.id for t in dossier.pending if t.origin == ORIGIN]
    found = None if waits else _analysis(dossier)
    if dossier.state in CLOSED and found is None:
        return
    st.subheader("Does it hold when settings drift?", anchor=False)
    if waits:
        st.markdown(f"Waiting for the runs **{', '.join(waits)}**; they are entered on the page "
                    "Results.")
        bench_sheet(lambda: trial_sheet(dossier, waits), f"robustness-{dossier.id}", "robustness")
        frame.link(session, "results", "Enter results")
        return
    if found is not None:
        _judged(session, found)
    if dossier.state not in CLOSED:
        _offer(session, dossier, is_again=found is not None)


def _analysis(dossier: Dossier) -> Robustness | None:
    if all(t.origin != ORIGIN for t in dossier.recorded):
        return None
    return caching.kept("robustness", digest(dossier.id, len(dossier.events)),
                        lambda: analyse_robustness(dossier))


def _offer(session: WizardSession, dossier: Dossier, is_again: bool) -> None:
    setting = setting_to_verify(dossier)
    st.markdown(verbatim(
        robustness_rows.offer_sentence(dossier.job, setting, session.units)))
    label = "Plan the study again" if is_again else "Plan the robustness runs"
    if st.button(label, key="verify.robustness", icon=":material/grid_goldenratio:"):
        waiting.act("Planning the runs",
                    lambda _: service.plan_robustness(session.service, dossier.id))
        frame.again()


def _judged(session: WizardSession, found: Robustness) -> None:
    units = session.units
    st.markdown(f"**{robustness_rows.verdict(found)}**\n\n" + "\n".join(
        f"- {verbatim(line)}" for line in robustness_rows.corner_lines(found, units)))
    drawing.show(differences_chart, robustness_rows.effect_rows(found), None,
                 "percentage points", palette(session.theme))
    st.caption("What each factor did to each recovery from its low to its high level, with 95 % "
               "intervals. An effect whose interval holds zero does not show; it may still be "
               "there.")
    with st.expander("Every effect in numbers"):
        st.table(literal(robustness_rows.effect_lines(found, units)).set_index("of"),
                 border="horizontal")
