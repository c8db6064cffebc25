"""The recommended setting, what it promises, how far it may drift, and what it saves."""

from __future__ import annotations

import streamlit as st

from experiments.answers import Answer
from experiments.dossier import Dossier
from experiments.faster_run import why_not_faster
from experiments.job import Setting
from experiments.method_in_use import today_against_recommended
from experiments.misfit import misfit
from experiments.verification import why_it_failed
from experiments.verification_plan import chance_of_passing
from experiments.wording import percent
from wizard import answers, caching, frame
from wizard.session import WizardSession
from wizard.verbatim import literal, verbatim
from wizard.view_models import recommend_rows
from wizard.views.cautions_view import show_findings
from wizard.views.earlier_view import show_carried
from wizard.views.map_view import show_map
from wizard.views.run_view import foreseen, show_run


def render(session: WizardSession) -> None:
    """Draw the recommendation as things stand."""
    dossier = session.must_dossier()
    answer = answers.recommendation(session, dossier)
    if answer is None:
        return
    setting = recommend_rows.answer_setting(answer)
    failed = why_it_failed(dossier, answer.setting)
    st.subheader(recommend_rows.headline(answer, dossier.state, bool(failed)), anchor=False)
    if failed:
        st.markdown(":material/cancel: " + verbatim(session.units.sentence(failed)))
        frame.link(session, "verify", "Look at the verification")
    if setting is not None:
        if answer.setting is None:
            st.markdown("The best compromise all the same:")
        _metrics(session, dossier, answer, setting)
    st.markdown(verbatim(session.units.sentence(answer.reason)))
    if answer.setting is not None:
        why = why_not_faster(dossier.fitted(), answer.run_time_min.mean)
        st.markdown(verbatim(session.units.sentence(why)))
    _remedies(session, answer)
    if dossier.recorded:
        show_findings(misfit(dossier.fitted()), session.units, "The run model against the runs")
    show_carried(session, dossier)
    if setting is None:
        return
    _promises(session, dossier, setting)
    for line in foreseen(dossier, setting, bool(dossier.recorded))["findings"]:
        st.markdown(f":material/warning: {verbatim(session.units.sentence(line))}")
    st.subheader("Where it lies", anchor=False)
    show_map(session, dossier, float(setting["ramp_rate_mbar_per_min"]), setting,
             recommended=answer.setting is not None, known="both" if dossier.recorded else "now")
    _region(session, dossier, answer)
    _saving(session, dossier, answer)
    with st.expander("The predicted run"):
        show_run(session, dossier, setting, bool(dossier.recorded))
    if answer.setting is None:
        frame.link(session, "trials", "Propose more trials")


def _metrics(
    session: WizardSession, dossier: Dossier, answer: Answer, setting: Setting
) -> None:
    shown = recommend_rows.setting_metrics(setting, dossier.job, session.units)
    with st.container(border=True):
        with st.container(horizontal=True, gap="medium"):  # wraps where the window is narrow
            for label, value in shown:
                st.metric(label, value, width="content")
        promised = st.container(horizontal=True, gap="medium")
        promised.metric("Run time", f"{answer.run_time_min.mean:.0f} min", width="content",
                        help="Posterior mean of the true mean run time.")
        promised.metric("Every target met", percent(answer.probability), width="content",
                        help="Probability that every “must” analyte's true mean recovery meets "
                             "its target and the run ends in time.")
        if dossier.recorded:
            passing = _passing(dossier, setting)
            promised.metric("Passes six verification runs", percent(passing), width="content",
                            help="Chance that six replicate runs on six days meet the usual "
                                 "criteria.")
            why = recommend_rows.passing_sentence(answer.probability, passing)
            if why:
                st.caption(why)


def _passing(dossier: Dossier, setting: Setting) -> float:
    key = f"{answers.record_key(dossier)}.{sorted(setting.items())}"
    return caching.kept("passing", key, lambda: chance_of_passing(dossier.fitted(), setting))


def _remedies(session: WizardSession, answer: Answer) -> None:
    lines = recommend_rows.remedy_lines(answer.remedies, session.units)
    if lines:
        st.markdown("**What would help**, each worked out with the run model:\n\n"
                    + "\n".join(f"- {verbatim(line)}" for line in lines))


def _promises(session: WizardSession, dossier: Dossier, setting: Setting) -> None:
    mean = dossier.forecast([setting])[0]
    single = dossier.forecast([setting], new_run=True)[0]
    st.subheader("What it promises", anchor=False)
    lines = recommend_rows.forecast_lines(dossier.job, mean, single, session.units)
    st.table(literal(lines).set_index(""), border="horizontal")


def _region(session: WizardSession, dossier: Dossier, answer: Answer) -> None:
    if answer.setting is None:
        return
    st.subheader("How far it may drift", anchor=False)
    region = answers.region(dossier, answer)
    if region is None:
        return
    st.markdown(verbatim(recommend_rows.region_sentence(region)))
    lines = recommend_rows.range_lines(region, session.units)
    if lines:
        st.table(literal(lines).set_index("factor"), border="horizontal")


def _saving(session: WizardSession, dossier: Dossier, answer: Answer) -> None:
    if dossier.job.today is None or answer.setting is None:
        return
    found = caching.kept("saving", answers.record_key(dossier),
                         lambda: today_against_recommended(dossier))
    st.subheader("Against the method in use", anchor=False)
    for line in found.sentences:
        st.markdown(verbatim(session.units.sentence(line)))
