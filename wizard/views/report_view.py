"""The justification to hand over, the state of the dossier, and its history."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from experiments import approval, service, transfer
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN, MOVES
from experiments.events import verify_chain
from experiments.job_text import to_toml
from wizard import answers, frame, waiting
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models.history_lines import STATE_ACTIONS, history_lines, state_sentence
from wizard.views.kept import KeptForm
from wizard.views.new_version import version_button

OFFICE = "application/vnd.openxmlformats-officedocument."
KINDS = {
    ".pdf": ("PDF", "to read, print and sign", "application/pdf"),
    ".html": ("HTML", "one file for any browser", "text/html"),
    ".docx": ("DOCX", "to carry on writing in", f"{OFFICE}wordprocessingml.document"),
    ".xlsx": ("XLSX", "every number of it in a workbook", f"{OFFICE}spreadsheetml.sheet"),
}


def render(session: WizardSession) -> None:
    """Draw what can be handed over."""
    dossier = session.must_dossier()
    st.markdown(verbatim(state_sentence(dossier)))
    if dossier.state in FROZEN:
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            st.markdown("This version is closed. A change starts a new one.", width="stretch")
            version_button(session, dossier, "report.version")
    if dossier.recorded:
        _documents(session, dossier)
    else:
        st.markdown("There is nothing to report before the first result.")
        frame.link(session, "results", "Enter results")
    _states(session, dossier)
    _take_along(session, dossier)
    _history(dossier)


def _documents(session: WizardSession, dossier: Dossier) -> None:
    key = f"{dossier.id}.{dossier.events[-1].hash}"
    for suffix, (name, use, mime) in KINDS.items():
        is_made = st.session_state.get(f"report{suffix}") == key
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            st.markdown(f"**Report as {name}**, {use}", width="stretch")
            if not is_made and st.button(f"Write the {name}", key=f"report.write{suffix}",
                                         icon=":material/edit_document:",
                                         type="primary" if suffix == ".pdf" else "secondary"):
                is_made = True
            if is_made:
                data = _document(session, dossier, suffix, key)
                if data is not None:
                    st.session_state[f"report{suffix}"] = key
                    st.download_button(f"Download the {name}", data, mime=mime,
                                       file_name=f"{dossier.id}{suffix}", on_click="ignore",
                                       icon=":material/download:", key=f"report.get{suffix}",
                                       type="primary")


def _document(session: WizardSession, dossier: Dossier, suffix: str, key: str) -> bytes | None:
    return waiting.answer(
        f"report{suffix}", key, f"Writing the {KINDS[suffix][0]}",
        lambda p: service.report(session.service, dossier.id, suffix, p),
    )


def _states(session: WizardSession, dossier: Dossier) -> None:
    moves = [m for m in MOVES[dossier.state] if m in STATE_ACTIONS]
    if not moves:
        return
    st.subheader("State of the dossier", anchor=False)
    form = KeptForm(session, f"state:{dossier.id}")
    with st.container(border=True):
        to = form.choice("to", "Next", moves, moves[0], say=lambda s: STATE_ACTIONS[s])
        reason = form.text("why", "Why", placeholder="stands in the record")
        if _is_meant(to):
            with frame.faults_shown():  # the rest of the page stays
                approval.change_state(session.service, dossier.id, to, reason)
                form.done()
                frame.again()


def _is_meant(to: str) -> bool:
    """Whether the button was pressed; retiring, which nothing undoes, is asked again."""
    if to != "retired":
        return st.button("Change the state", key="report.state")
    with st.popover("Retire the method", icon=":material/block:"):
        st.markdown("A retired method can still be read, but is never used again.")
        return st.button("Retire it for good", key="report.retire")


def _take_along(session: WizardSession, dossier: Dossier) -> None:
    st.subheader("To take along", anchor=False)
    with st.container(horizontal=True):
        st.download_button("The job file", to_toml(dossier.job), file_name=f"{dossier.id}.toml",
                           mime="application/toml", on_click="ignore", key="report.toml",
                           icon=":material/download:")
        st.download_button("The whole dossier",
                           lambda: transfer.export_dossier(session.service, dossier.id),
                           mime="application/zip", file_name=f"{dossier.id}.zip",
                           on_click="ignore", key="report.zip", icon=":material/download:",
                           help="One file that another Boilwright can bring in, lossless.")


def _history(dossier: Dossier) -> None:
    check = verify_chain(dossier.events)
    with st.expander(f"History: {check.events} entries, "
                     f"{'the chain holds' if check.holds else 'the chain is broken'}"):
        st.dataframe(pd.DataFrame(history_lines(dossier)), hide_index=True, width="stretch")
        st.caption(f"Digest of the last entry: {dossier.events[-1].hash[:16]} …; every entry "
                   "carries the digest of the one before it.")
        st.caption(f"Key of what the answers rest on: {answers.record_key(dossier)}")
