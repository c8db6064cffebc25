"""Planning a verification: criteria, number of runs, chance of passing."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from experiments.acceptance import GUIDANCE, criteria_from_guidance
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.fitted import Fitted
from experiments.verification import setting_to_verify
from experiments.verification_entry import plan_verification
from experiments.verification_plan import VerificationPlan, plan
from experiments.wording import percent
from wizard import answers, frame, waiting
from wizard.session import WizardSession, digest
from wizard.units import NotANumber, read_number
from wizard.verbatim import literal, verbatim
from wizard.view_models import verify_rows
from wizard.view_models.settings_text import setting_text
from wizard.views.kept import KeptForm

OWN = "the job's own targets"


def plan_form(session: WizardSession, dossier: Dossier) -> None:
    """Choose criteria and the number of runs, see the chance of passing, fix the plan."""
    setting = setting_to_verify(dossier)
    st.markdown(f"To verify: **{verbatim(setting_text(setting, session.units, dossier.job))}**")
    form = KeptForm(session, f"criteria:{dossier.id}")
    citations = {g.key: g.citation for g in GUIDANCE if g.bands}
    source = form.choice("source", "Criteria", [OWN, *citations], OWN,
                         say=lambda k: citations.get(k, k))
    level = None
    if source != OWN:
        text = form.text("level", "Level of the analytes in the sample, µg/kg",
                         help="Needed where the guidance sets its limits by concentration.")
        try:
            level = read_number(text) if text.strip() else None
        except NotANumber as error:
            st.markdown(f":red[:material/error: {verbatim(error)}]")
            return
    try:
        criteria = None if source == OWN else criteria_from_guidance(dossier.job, source, level)
    except EntryError as error:
        st.markdown(f":material/edit: {verbatim(f'{error.message} {error.cure}')}")
        return
    found = answers.fitted(dossier)
    if found is None:
        return
    key = digest(answers.record_key(dossier), sorted(setting.items()), source, level)
    made = waiting.answer("plan", key, "Working out the chance of passing",
                          lambda _: plan(found, setting, criteria))
    if made is None:
        return
    made = _of_wanted_size(form, found, made, f"{source}:{level}", key)
    if made is None:
        return
    criteria = made.criteria
    st.markdown(verbatim(verify_rows.plan_sentence(made)))
    plan_tables(made)
    st.markdown("The plan is written into the record before the first run, so that a reader can "
                "see that nothing was moved afterwards.")
    if st.button("Fix this plan", type="primary", key="verify.fix", icon=":material/lock:"):
        waiting.act("Writing the plan", lambda _: plan_verification(
            session.service, dossier.id, criteria, setting))
        frame.again()


def _of_wanted_size(
    form: KeptForm, found: Fitted, made: VerificationPlan, of: str, key: str
) -> VerificationPlan | None:
    """The plan with another number of runs and days, where that is chosen and can help."""
    if verify_rows.is_hopeless(made):
        return made
    designs = {f"{c.runs} runs on {c.days} days": c for c in made.alternatives}
    advised = f"{made.criteria.runs} runs on {made.criteria.days} days"
    chosen = form.choice(f"design:{of}", "Number of runs", list(designs), advised, say=lambda d: (
        f"{d}: passes with a chance of {percent(designs[d].chance)}"))
    if chosen == advised:
        return made
    wanted = replace(made.criteria, runs=designs[chosen].runs, days=designs[chosen].days)
    return waiting.answer("plan", digest(key, chosen), "Working out the chance of passing",
                          lambda _: plan(found, made.setting, wanted))


def plan_tables(made: VerificationPlan) -> None:
    """What each analyte must show, the runs by day, and the chance with other numbers of runs."""
    st.table(literal(verify_rows.plan_lines(made)).set_index("analyte"), border="horizontal")
    words = verify_rows.needed_sentence(made)
    if words:
        st.caption(words)
    left, right = st.columns(2)
    with left:
        st.markdown("**Runs**")
        st.table(literal(verify_rows.schedule_lines(made)).set_index("run"),
                 border="horizontal")
    with right:
        st.markdown("**Chance of passing with other numbers of runs**")
        same = verify_rows.sameness_sentence(made)
        if same:
            st.markdown(same)
        else:
            st.table(literal(verify_rows.alternative_lines(made)).set_index("runs"),
                     border="horizontal")
