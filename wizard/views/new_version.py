"""The next version of a dossier: a draft that knows what it follows."""

from __future__ import annotations

import uuid

import streamlit as st

from experiments import approval, service
from experiments.dossier import Dossier
from experiments.job import EvaporationJob
from experiments.job_text import to_mapping
from wizard import frame
from wizard.session import WizardSession
from wizard.view_models.dossier_list import JOB_DRAFT
from wizard.view_models.job_draft import draft_of
from wizard.views.kept import KeptForm

MARK = "."
"""Stands in the id of a draft before the id of the dossier it follows."""


def followed(draft_id: str | None) -> str | None:
    """The dossier of which a draft is the next version; None for a job of its own."""
    _, mark, dossier_id = (draft_id or "").partition(MARK)
    return dossier_id if mark else None


def version_button(session: WizardSession, dossier: Dossier, key: str) -> None:
    """A button that opens the draft of the next version, the one begun before if there is."""
    if not st.button("Write a new version", key=key, icon=":material/add_notes:",
                     help="A job that starts with everything written here. Results come along "
                          "when sample, evaporator and factors stay the same; trials still to be "
                          "run stay here."):
        return
    begun = (d.name.removeprefix(JOB_DRAFT) for d in session.drafts()
             if d.name.startswith(JOB_DRAFT))
    draft_id = next((name for name in begun if followed(name) == dossier.id), None)
    if draft_id is None:
        draft_id = f"{uuid.uuid4().hex[:8]}{MARK}{dossier.id}"
        session.keep_draft(JOB_DRAFT + draft_id, draft_of(to_mapping(dossier.job)))
    session.open_draft(draft_id)
    frame.go(session, "job")


def version_sentence(session: WizardSession, draft_id: str) -> str:
    """Which dossier a draft follows, and the trials that stay there."""
    old = service.load(session.service, str(followed(draft_id)))
    return f"The next version of dossier {old.id}. {approval.staying_words(old)}".strip()


def reason_field(session: WizardSession, draft_id: str) -> str:
    """Why there is a new version; kept as it is typed."""
    return KeptForm(session, _reason_draft(draft_id)).text(
        "text", "What changes, and why", placeholder="stands in the record of the new version")


def start_version(session: WizardSession, draft_id: str, job: EvaporationJob, why: str) -> str:
    """Start the version; returns the id of its dossier."""
    made = approval.new_version(session.service, str(followed(draft_id)), job, why)
    session.drop_draft(_reason_draft(draft_id))
    return made.id


def _reason_draft(draft_id: str) -> str:
    return f"reason:{draft_id}"
