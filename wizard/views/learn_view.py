"""What the trials taught: the trials themselves, the parameters, and how well it all fits."""

from __future__ import annotations

import streamlit as st

from experiments.diagnostics import leave_one_out, odd_runs
from experiments.dossier import Dossier
from experiments.fitted import Fitted
from experiments.learnt import what_was_learnt
from experiments.misfit import misfit
from wizard import answers, caching
from wizard.charts.fit_quality import fit_quality
from wizard.charts.learning import learnt_chart
from wizard.charts.palette import palette
from wizard.charts.recoveries import margins_chart, recoveries_charts
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models import learn_rows
from wizard.view_models.fit_words import fit_rows, fit_sentence
from wizard.view_models.window_map import nearest_ramp
from wizard.views import drawing
from wizard.views.cautions_view import show_findings
from wizard.views.earlier_view import show_carried
from wizard.views.map_view import ramp_choice, show_map

FIRST = 5
"""Sentences shown before the rest is folded away."""


def render(session: WizardSession) -> None:
    """Draw what was learnt."""
    dossier = session.must_dossier()
    _trials(session, dossier)
    found = answers.fitted(dossier)
    if found is None:
        return
    show_findings(misfit(found), session.units, "The run model against the runs")
    show_carried(session, dossier)
    _parameters(session, dossier, found)
    _region(session, dossier)
    _fit(session, dossier, found)


def _trials(session: WizardSession, dossier: Dossier) -> None:
    points = learn_rows.trial_points(dossier)
    if not points:
        st.markdown("No run has finished with a recovery yet; unfinished runs teach as well, see "
                    "below.")
        return
    colours = palette(session.theme)
    must = learn_rows.targets(dossier.job, only_must=True)
    st.markdown(verbatim(learn_rows.first_line(points, must)))
    drawing.show(margins_chart, points, must, colours)
    st.caption(
        "Each run by its time and its tightest margin: the recovery nearest to, or furthest "
        "below, its target. Dashed: the best compromises so far, no run beats them in both. "
        + verbatim(learn_rows.left_out(dossier))
    )
    with st.expander("Every analyte by itself"):
        drawing.show_row(recoveries_charts, points,
                         learn_rows.targets(dossier.job, only_must=False), colours)
        st.caption("Mean recovery of each run; bars span the vessels. The line is the target.")


def _parameters(session: WizardSession, dossier: Dossier, found: Fitted) -> None:
    st.subheader("In plain words", anchor=False)
    learnt = caching.kept("learnt", answers.record_key(dossier), lambda: what_was_learnt(found))
    told, silent = learn_rows.learnt_sentences(learnt)
    units = session.units
    st.markdown("\n".join(f"- {verbatim(units.sentence(line))}" for line in told[:FIRST])
                or "The trials have said little so far.")
    if told[FIRST:] or silent:
        with st.expander("Everything else"):
            st.markdown("\n".join(f"- {verbatim(units.sentence(line))}" for line in told[FIRST:]))
            if silent:
                st.markdown(f"Little was said yet of: {verbatim(', '.join(silent))}.")
    rows = learn_rows.learnt_rows(learnt, only_told=True)
    if rows:
        drawing.show(learnt_chart, rows, palette(session.theme))
        st.caption("At 1 a quantity is as assumed. Pale: what was assumed. Dark: what the trials "
                   "left, with its middle as a diamond. Ranges hold 95 %.")


def _region(session: WizardSession, dossier: Dossier) -> None:
    st.subheader("What the trials changed on the map", anchor=False)
    last = dossier.recorded[-1].setting
    ramp = ramp_choice(session, dossier, "learn.ramp", last)
    show_map(session, dossier, nearest_ramp(dossier.job, None) if ramp is None else ramp,
             last, known="both")


def _fit(session: WizardSession, dossier: Dossier, found: Fitted) -> None:
    st.subheader("How well it fits", anchor=False)
    key = answers.record_key(dossier)
    readings = caching.kept("loo", key, lambda: leave_one_out(found))
    st.markdown(verbatim(fit_sentence(readings)))
    rows = fit_rows(readings)
    if rows:
        drawing.show(fit_quality, rows, palette(session.theme))
        st.caption("Each recovery against the forecast from all other runs; on the line they "
                   "agree. Bars: where a single run may fall, 95 %.")
    show_findings(caching.kept("odd", key, lambda: odd_runs(found)), session.units,
                  "Readings to check")
