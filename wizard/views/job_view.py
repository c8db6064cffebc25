"""The job page: a form that does not feel like one, and the job restated in words."""

from __future__ import annotations

from typing import Any

import streamlit as st

from experiments import service
from experiments.dossier import Dossier
from experiments.job_file import JobError, parse
from experiments.job_text import to_mapping, to_toml
from experiments.wording import counted
from wizard import frame, presets
from wizard.job_form import JobForm, said
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models.dossier_list import JOB_DRAFT
from wizard.view_models.job_draft import DraftCheck, draft_of, misfits
from wizard.view_models.job_sentence import job_sentence
from wizard.views.analytes_card import analytes_card
from wizard.views.cautions_view import cautions_of_job
from wizard.views.earlier_view import earlier_choice, forget_earlier, suggest_earlier
from wizard.views.job_cards import (
    equipment_card,
    factors_card,
    limits_card,
    sample_card,
    today_card,
)
from wizard.views.new_version import (
    followed,
    reason_field,
    start_version,
    version_button,
    version_sentence,
)
from wizard.views.undo import undo_button


def render(session: WizardSession) -> None:
    """Draw the form of a new job, of a job without trials, or a job that is fixed."""
    dossier = session.dossier()
    if dossier is None:
        name = JOB_DRAFT + (session.draft_id or session.open_draft())
        form = JobForm(session, name, presets.first_draft)
        _form(session, form, None)
    elif all(t.state == "withdrawn" or t.origin == "today" and t.result is None
             for t in dossier.trials):
        mapping = to_mapping(dossier.job)
        form = JobForm(session, f"job:{dossier.id}", lambda: draft_of(mapping))
        _form(session, form, dossier)
    else:
        _fixed(session, dossier)


def _form(session: WizardSession, form: JobForm, dossier: Dossier | None) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown("Choose from the lists and correct what differs. What you enter is "
                    "saved when you leave its field.", width="stretch")
        undo = st.empty()
    _title(form)
    with st.container(key="job.form"):
        left, right = st.columns((9, 5), gap="medium")
    with left:
        sample_card(form)
        analytes_card(form)
        equipment_card(form, _earlier(session) if dossier is None else {})
        factors_card(form)
        today_card(form)
        limits_card(form)
    with right:
        words = st.container()
        actions = st.container()
        _job_file(session, form)
    found = form.finish()
    with undo:
        undo_button(session, form.name)
    with words.container(border=True):
        st.subheader("In words", anchor=False)
        st.markdown(verbatim(job_sentence(form.draft, session.units)))
    with words:
        cautions_of_job(form.draft, session.units)
    with actions:
        _actions(session, form, found, dossier)


def _title(form: JobForm) -> None:
    from wizard.view_models.job_fields import Field

    form.field(Field("title", "Title of the job", "text",
                     help="As it will stand on the report."))


def _earlier(session: WizardSession) -> dict[str, dict[str, Any]]:
    """Evaporators of the latest dossiers, by name."""
    found: dict[str, dict[str, Any]] = {}
    for summary in service.summaries(session.service)[:20]:
        name = str(summary.facts.get("equipment", ""))
        if name and name not in found and len(found) < 5:
            job = service.load(session.service, summary.id).job
            found[name] = to_mapping(job)["equipment"]
    return found


def _actions(
    session: WizardSession, form: JobForm, found: DraftCheck, dossier: Dossier | None
) -> None:
    stray = found.elsewhere(set(form.slots))
    if found.job is not None:
        st.markdown(":material/check: The job is complete.")
    else:
        st.markdown(f":material/edit: {_what_is_left(found)}")
    for fault in stray:
        st.markdown(f":red[:material/error: "
                    f"{verbatim(f'{fault.path}: {said(fault.message)} {fault.cure}')}]")
    draft_id = session.draft_id if dossier is None else None
    why, earlier = "", None
    if draft_id and followed(draft_id):
        st.markdown(verbatim(version_sentence(session, draft_id)))
        why = reason_field(session, draft_id)
        label = "Start the new version"
    else:
        if draft_id and found.job is not None:
            earlier = earlier_choice(session, draft_id, found.job)
        label = "Start the dossier" if dossier is None else "Take the change into the record"
    is_same = dossier is not None and found.job == dossier.job
    if is_same:
        st.markdown("Saved as it stands here.")
        return
    if st.button(label, type="primary", key="job.start", width="stretch",
                 icon=":material/check:", disabled=found.job is None):
        _take(session, form, found, dossier, why, earlier)


def _take(
    session: WizardSession, form: JobForm, found: DraftCheck, dossier: Dossier | None, why: str,
    earlier: str | None,
) -> None:
    assert found.job is not None
    draft_id = session.draft_id
    if dossier is None and draft_id and followed(draft_id):
        made_id = start_version(session, draft_id, found.job, why)
        form.forget()
        session.open(made_id)
    elif dossier is None:
        with st.spinner("Learning from the earlier dossier …" if earlier else "Starting …"):
            made = service.create(session.service, found.job, earlier=earlier)
        form.forget()
        if draft_id:
            forget_earlier(session, draft_id)
        session.open(made.id)
    else:
        service.change_job(session.service, dossier.id, found.job)
        form.forget()
    frame.go(session, "window")


def _what_is_left(found: DraftCheck) -> str:
    parts = []
    if found.gaps:
        parts.append(f"{counted(found.gaps, 'field')} still to fill in")
    if found.wrong:
        what = "" if found.gaps else f" field{'s' if found.wrong > 1 else ''}"
        parts.append(f"{found.wrong}{what} to correct, marked beside it")
    return f"{' and '.join(parts)}." if parts else "Not complete yet."


def _job_file(session: WizardSession, form: JobForm) -> None:
    with st.expander("Open a job file", icon=":material/upload_file:"):
        given = st.file_uploader("Job file (TOML)", type=["toml"],
                                 key=f"job.file.{session.generation('job.file')}")
        if given is None:
            return
        import tomllib

        try:
            mapping = tomllib.loads(given.getvalue().decode("utf-8-sig"))
        except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
            st.error(verbatim(f"{given.name} cannot be read as TOML ({error}). Mend that line, or "
                              "give another file; what is written here was left as it is."))
            return
        unfit = misfits(mapping)
        if unfit:
            st.error(verbatim(f"The form cannot hold what the file has at {unfit[0]}. Mend it in "
                              "the file; what is written here was left as it is."))
            return
        try:
            parse(mapping)
            st.markdown("The file holds a complete job.")
        except JobError as error:
            faults = counted(len(error.faults), "fault")
            st.markdown(f"The file has {faults}; each will be marked beside its field.")
        if st.button("Put it into the form", key="job.file.take",
                     help="Replaces what is written here."):
            form.draft = draft_of(mapping)
            form.save()
            session.renew("job.file")
            frame.again()


def _fixed(session: WizardSession, dossier: Dossier) -> None:
    """A job with trials is fixed; it can be read, taken along, or carried into a new version."""
    st.markdown("The job is fixed because trials rest on it. A changed job is a new version of "
                "the dossier.")
    with st.container(border=True):
        words = job_sentence(draft_of(to_mapping(dossier.job)), session.units)
        st.markdown(verbatim(words))
    cautions_of_job(to_mapping(dossier.job), session.units)
    with st.container(horizontal=True):
        st.download_button("Download the job file", to_toml(dossier.job),
                           file_name=f"{dossier.id}.toml", mime="application/toml",
                           on_click="ignore", icon=":material/download:", key="job.toml")
        version_button(session, dossier, "job.version")
        if st.button("Use it for another job", key="job.copy", icon=":material/content_copy:",
                     help="A job of its own that starts with everything written here."):
            draft = draft_of(to_mapping(dossier.job))
            draft_id = session.open_draft()
            session.keep_draft(JOB_DRAFT + draft_id, draft)
            suggest_earlier(session, draft_id, dossier.id)
            frame.again()
    with st.expander("The job file"):
        st.code(to_toml(dossier.job), language=None, wrap_lines=True)
