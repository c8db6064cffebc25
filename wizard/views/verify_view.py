"""Verification: plan it before the first run, enter the runs, see the decision."""

from __future__ import annotations

import streamlit as st

from experiments import approval
from experiments.bench_sheet import verification_sheet
from experiments.dossier import Dossier
from experiments.verification import Verification, verify
from experiments.verification_entry import (
    correct_run,
    learn_from_verification,
    planned_trials,
    read_runs_table,
    record_verification,
)
from experiments.verification_plan import VerificationPlan
from experiments.verification_runs import planned, recorded_runs
from experiments.verification_trials import runs_to_take_over, taken_over
from wizard import frame
from wizard.charts.differences import replicates_charts
from wizard.charts.palette import palette
from wizard.session import WizardSession
from wizard.verbatim import literal, verbatim
from wizard.view_models import verify_rows
from wizard.view_models.results_preview import preview
from wizard.view_models.settings_text import setting_text
from wizard.views.correction_form import amendment, correction_fields
from wizard.views.drawing import show_row
from wizard.views.kept import KeptForm
from wizard.views.preview_view import show_preview
from wizard.views.robustness_view import CLOSED, robustness
from wizard.views.sheet_view import bench_sheet
from wizard.views.verify_plan_view import plan_form, plan_tables


def render(session: WizardSession) -> None:
    """Draw the plan, the entry of its runs, and the decision."""
    dossier = session.must_dossier()
    made = planned(dossier)
    if made is None:
        plan_form(session, dossier)
    else:
        found = verify(dossier)
        _decision(session, dossier, made, found)
        if found.decision == "fail" and dossier.state not in CLOSED:
            _learn(session, dossier)
        _entry(session, dossier, made)
        _correction(session, dossier, made)
        with st.expander("The plan, fixed before the first run"):
            plan_tables(made)
        _onward(session, dossier, found)
        _again(session, dossier, made, found)
    robustness(session, dossier)


def _decision(
    session: WizardSession, dossier: Dossier, made: VerificationPlan, found: Verification
) -> None:
    headline, reason = verify_rows.decision_text(found, session.units)
    st.subheader(headline, anchor=False)
    judged = setting_text(made.setting, session.units, dossier.job)
    other = " It is not the setting recommended now." if _is_other(dossier, made) else ""
    st.markdown(f"About **{verbatim(judged)}**.{other}")
    st.markdown(verbatim(reason))
    runs = recorded_runs(dossier, made.setting)
    readings = verify_rows.replicate_readings(runs, dossier.job, found.counted)
    if readings:
        show_row(replicates_charts, readings, verify_rows.limits_of(made), palette(session.theme))
        st.caption("Every reading of the replicate runs, hollow where the run does not count; the "
                   "shaded band is where the mean must lie, its lower edge drawn.")
    lines = verify_rows.criterion_lines(found.criteria, session.units)
    if lines:
        st.table(literal(lines).set_index("criterion"), border="horizontal")
    if found.set_aside:
        st.markdown("Set aside: " + "; ".join(f"{n}, because {verbatim(why)}"
                                              for n, why in found.set_aside.items()) + ".")
    if found.later:
        st.markdown(f"Made after the decision, which they cannot turn: {', '.join(found.later)}.")


def _entry(session: WizardSession, dossier: Dossier, made: VerificationPlan) -> None:
    if dossier.state in CLOSED:
        return
    st.subheader("Enter runs", anchor=False)
    bench_sheet(lambda: verification_sheet(dossier, made), f"verification-{dossier.id}", "verify")
    name = f"verify:{dossier.id}"
    kept = str((session.draft(name) or {}).get("text", ""))
    given = st.file_uploader("The filled sheet", type=["csv", "xlsx"],
                             key=f"verify.file.{session.generation(name)}")
    text = st.text_area("… or its rows, copied from a spreadsheet with their header", kept,
                        key=f"{name}.{session.generation(name)}", height=140,
                        placeholder="trial\tvessel\trun_time_min\tday\trecovery_percent:…")
    if text != kept:
        session.keep_draft(name, {"text": text} if text.strip() else {})
    data: bytes | str | None = given.getvalue() if given is not None else text.strip() or None
    if data is None:
        return
    shown = preview(read_runs_table(dossier, made, data), dossier.job, planned_trials(made),
                    session.units)
    with st.container(border=True):
        show_preview(shown)
        if shown.may_record and st.button("Record these runs", type="primary",
                                          key="verify.record", icon=":material/check:"):
            record_verification(session.service, dossier.id, data)
            session.drop_draft(name)
            session.renew(name)
            frame.again()


def _onward(session: WizardSession, dossier: Dossier, found: Verification) -> None:
    if dossier.state == "verified":
        st.markdown(":material/verified: The method is marked as verified; the report carries "
                    "this decision and waits for a reviewer.")
    elif found.decision != "pass":
        return
    elif dossier.state == "running":
        st.markdown("Trials or the state changed since the recommendation; look at it once more "
                    "before the method is marked as verified.")
        frame.link(session, "recommend", "Look at the recommendation")
    elif dossier.state == "recommended" and st.button(
        "Mark the method as verified", type="primary", key="verify.mark",
        icon=":material/verified:",
    ):
        approval.change_state(session.service, dossier.id, "verified", "verification passed")
        frame.again()


def _again(
    session: WizardSession, dossier: Dossier, made: VerificationPlan, found: Verification
) -> None:
    """Offer another verification where this one failed, or another setting is recommended."""
    is_unused = not recorded_runs(dossier, made.setting)
    if dossier.state in CLOSED or not (
        found.decision == "fail" or is_unused or _is_other(dossier, made)
    ):
        return
    with st.expander("Put another plan in its place" if is_unused else
                     "Plan another verification"):
        st.markdown("Earlier plans and runs stay in the record; those of the new plan are counted "
                    "anew.")
        plan_form(session, dossier)


def _learn(session: WizardSession, dossier: Dossier) -> None:
    """Offer to learn from the runs of a failed verification, and say which of them are learnt."""
    sentence = verify_rows.learnt_sentence(taken_over(dossier))
    if sentence:
        st.markdown(sentence)
        frame.link(session, "recommend", "Look at the recommendation")
    runs = [r.id for r in runs_to_take_over(dossier)]
    if not runs:
        return
    st.markdown(verify_rows.offer_sentence(runs))
    if st.button("Learn from these runs", type="primary", key="verify.learn",
                 icon=":material/school:"):
        learn_from_verification(session.service, dossier.id)
        frame.again()


def _is_other(dossier: Dossier, made: VerificationPlan) -> bool:
    advised = (dossier.details.recommendation or {}).get("setting")
    return advised is not None and dict(advised) != made.setting


def _correction(session: WizardSession, dossier: Dossier, made: VerificationPlan) -> None:
    """Correct a run of the plan; trials that count are corrected where trials are."""
    trials = {t.id for t in dossier.trials}
    runs = {r.id: r for r in recorded_runs(dossier, made.setting) if r.id not in trials}
    if dossier.state in CLOSED or not runs:
        return
    with st.expander("Correct a run", icon=":material/edit:"):
        st.caption("The old entry stays in the record; the correction says who, when and why.")
        chosen = st.selectbox("Run", list(runs), None, key="verify.correct.run",
                              placeholder="which one?")
        if chosen is None:
            return
        form = KeptForm(session, f"correct:{dossier.id}:{chosen}:{len(dossier.events)}")
        typed = correction_fields(form, dossier.job, runs[chosen].result)
        if not st.button("Enter the correction", type="primary", key="verify.correct"):
            return
    values = amendment(dossier.job, typed)
    if values is not None:
        correct_run(session.service, dossier.id, chosen, typed.reason, **values)
        form.done()
        frame.again()
