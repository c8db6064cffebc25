"""The method on another vessel, fill or count: what changes, and the runs that confirm it."""

from __future__ import annotations

import streamlit as st

from experiments.dossier import Dossier
from experiments.job import EvaporationJob
from experiments.job_text import to_mapping
from experiments.method_transfer import Transfer, predict_transfer
from experiments.verification import setting_to_verify
from wizard import answers, frame, waiting
from wizard.charts.before_after import before_after_chart
from wizard.charts.palette import palette
from wizard.job_form import JobForm
from wizard.session import WizardSession, digest
from wizard.verbatim import literal, verbatim
from wizard.view_models import transfer_rows
from wizard.view_models.dossier_list import JOB_DRAFT
from wizard.view_models.job_draft import draft_of
from wizard.view_models.settings_text import setting_text
from wizard.views import drawing
from wizard.views.earlier_view import suggest_earlier
from wizard.views.job_cards import grid
from wizard.views.undo import undo_button


def render(session: WizardSession) -> None:
    """Draw the fields of the other vessel, and the answer once one of them differs."""
    dossier = session.must_dossier()
    if answers.fitted(dossier) is None:
        return
    job, units = dossier.job, session.units
    setting = verbatim(setting_text(setting_to_verify(dossier), units, job))
    batch = verbatim(transfer_rows.batch_text(job, units))
    st.markdown(f"The method: **{setting}** with {batch}. Type what the other batch has.")
    mapping = to_mapping(job)
    form = JobForm(session, f"transfer:{dossier.id}", lambda: draft_of(mapping))
    with st.container(border=True):
        grid(form, transfer_rows.transfer_fields(job))
        undo_button(session, form.name)
    checked = form.finish()
    for fault in checked.elsewhere(set(form.slots)):
        st.markdown(f":red[:material/error: {verbatim(fault)}]")
    if checked.job is None:
        st.markdown("The answer comes once every field above can be read.")
    elif checked.job == job:
        st.markdown("Nothing differs yet. Change a number above: run time, every recovery and the "
                    "runs that would confirm it are worked out at once.")
    else:
        _answer(session, dossier, checked.job)
        _onward(session, dossier, form)


def _answer(session: WizardSession, dossier: Dossier, changed: EvaporationJob) -> None:
    key = digest(answers.record_key(dossier), changed)
    found = waiting.answer("transfer", key, "Predicting the change",
                           lambda _: predict_transfer(dossier, changed))
    if found is not None:
        _show(session, dossier.job, found)


def _show(session: WizardSession, job: EvaporationJob, found: Transfer) -> None:
    units = session.units
    first, *others = (verbatim(units.sentence(s)) for s in found.sentences)
    st.markdown(f"#### {first}")
    st.markdown(" ".join(others))
    st.table(literal(transfer_rows.transfer_lines(found, job, units)).set_index(""),
             border="horizontal")
    drawing.show(before_after_chart, transfer_rows.transfer_rows(found, job),
                 palette(session.theme))
    st.caption("True means with 95 % intervals; the upright strokes are the targets. The "
               "run model gives the change, which may be wrong by 30 % of itself; what the trials "
               "taught beyond it stays.")


def _onward(session: WizardSession, dossier: Dossier, form: JobForm) -> None:
    st.markdown("A method for the other batch is a dossier of its own; it starts from what this "
                "one has learnt.")
    if st.button("Write it as a new job", key="transfer.job", icon=":material/add_notes:"):
        draft = form.draft
        draft_id = session.open_draft()
        session.keep_draft(JOB_DRAFT + draft_id, draft)
        suggest_earlier(session, draft_id, dossier.id)
        frame.go(session, "job")
