"""Every method of the store, found by solvent, analyte, keeper and evaporator."""

from __future__ import annotations

import streamlit as st

from experiments import service
from wizard import frame
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models import library_rows

SHOWN = 30


def render(session: WizardSession) -> None:
    """Draw what is asked for, and the methods that hold all of it."""
    summaries = service.summaries(session.service)
    if not summaries:
        st.markdown("Nothing is here yet. A method appears once its job is written.")
        frame.link(session, "dossiers", "Start a job")
        return
    wanted: dict[str, list[str]] = {}
    offered = library_rows.choices(summaries)
    columns = st.columns(len(library_rows.KINDS))
    for column, (kind, label) in zip(columns, library_rows.KINDS.items(), strict=True):
        wanted[kind] = column.multiselect(label, offered[kind], key=f"library.{kind}",
                                          placeholder="any")
    found = library_rows.found(summaries, wanted)
    st.markdown(f"Dossiers that hold all of this: {len(found)} of {len(summaries)}."
                if any(wanted.values()) else f"Dossiers in all: {len(summaries)}.")
    for summary in found[:SHOWN]:
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            st.markdown(
                f"**{verbatim(summary.title)}**  \n"
                f"{verbatim(library_rows.method_line(summary, session.units))}  \n"
                f":small[{verbatim(library_rows.sample_line(summary))}]", width="stretch")
            if st.button("Open", key=f"library.open.{summary.id}", icon=":material/arrow_forward:",
                         help=f"Open “{verbatim(summary.title)}”."):
                session.open(summary.id)
                frame.go(session, "recommend")
    if len(found) > SHOWN:
        st.markdown(f"{len(found) - SHOWN} more; ask for more to see fewer.")
