"""Starting a new dossier from an earlier one of the same evaporator or analytes."""

from __future__ import annotations

import streamlit as st

from experiments import service
from experiments.carry_over import carried_words
from experiments.carrying import verdicts
from experiments.dossier import Dossier
from experiments.job import EvaporationJob
from wizard import answers
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models.earlier_rows import NONE, earlier_choices


def earlier_choice(session: WizardSession, draft_id: str, job: EvaporationJob) -> str | None:
    """Ask which earlier dossier to start from; kept as it is chosen. None: from none."""
    choices = earlier_choices(service.summaries(session.service), job)
    if len(choices) < 2:
        return None
    name = _draft(draft_id)
    kept = str((session.draft(name) or {}).get("id", NONE))
    ids = list(choices)
    chosen = st.selectbox(
        "Start from an earlier dossier", ids, ids.index(kept) if kept in choices else 0,
        key=name, format_func=choices.__getitem__,
        help="What its results taught of the evaporator and of shared analytes is copied into "
             "the new record, with wider margins. The runs decide whether it holds.",
    )
    if chosen != kept:
        session.keep_draft(name, {"id": chosen} if chosen else {})
    return chosen or None


def suggest_earlier(session: WizardSession, draft_id: str, dossier_id: str) -> None:
    """Choose an earlier dossier beforehand, as if it had been picked."""
    session.keep_draft(_draft(draft_id), {"id": dossier_id})


def forget_earlier(session: WizardSession, draft_id: str) -> None:
    """The choice has gone into a record."""
    session.keep_draft(_draft(draft_id), {})


def show_carried(session: WizardSession, dossier: Dossier) -> None:
    """What was carried over, and what the runs say of it."""
    carried = dossier.details.carried
    found = answers.fitted(dossier) if carried is not None else None
    if carried is None or found is None:
        return
    with st.container(border=True):
        st.markdown(f"**From an earlier dossier.** {verbatim(carried_words(carried))}")
        for line in carried.left_out:
            st.markdown(verbatim(session.units.sentence(line)))
        for verdict in verdicts(found):
            sign = ":material/warning: " if verdict.is_against else ""
            st.markdown(sign + verbatim(session.units.sentence(verdict.sentence)))


def _draft(draft_id: str) -> str:
    return f"earlier:{draft_id}"
