"""The list of dossiers, the examples, and the start of a new job."""

from __future__ import annotations

import streamlit as st

from experiments import example_dossiers, service, transfer
from experiments.storage.protocol import Summary
from wizard import frame, navigation
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models.dossier_list import JOB_DRAFT, dossier_lines, draft_lines

SHOWN_AT_FIRST = 12


def render(session: WizardSession) -> None:
    """Draw the list; opening something turns to the page where its work goes on."""
    summaries = service.summaries(session.service)
    st.markdown(
        "A dossier holds one evaporation job from the first question to the signed report."
        if summaries else
        "No dossier is here yet. **Start a job of your own, or look at an example first:** it "
        "takes two minutes and shows every page filled in, with a word on what to look at."
    )
    _start(session)
    _drafts(session)
    if summaries:
        _list(session, summaries)
    _import(session)


def _start(session: WizardSession) -> None:
    columns = st.columns(3)
    with columns[0].container(border=True, height="stretch"):
        st.markdown("**A new job**")
        st.caption("Solvent, vessels, analytes and what must come back; presets help.")
        if st.button("Write a new job", type="primary", icon=":material/add:", key="list.new",
                     width="stretch"):
            session.open_draft()
            frame.go(session, "job")
    for column, example in zip(columns[1:], example_dossiers.names(), strict=False):
        with column.container(border=True, height="stretch"):
            st.markdown("**Example**")
            st.caption(f"{example.line}.")
            if st.button("Open this example", key=f"list.example.{example.key}",
                         icon=":material/play_circle:", width="stretch",
                         help=f"{example.title}. Opens a dossier of its own that you may change."):
                _open_example(session, example.key)


def _open_example(session: WizardSession, key: str) -> None:
    with st.spinner("Opening the example …"):
        dossier_id = example_dossiers.load(session.service.store, key, session.service.user)
    session.open(dossier_id)
    session.tour(on=True)
    frame.go(session, "window")


def _drafts(session: WizardSession) -> None:
    lines = draft_lines(session.drafts())
    if not lines:
        return
    st.subheader("Begun and not finished", anchor=False)
    for line in lines:
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            st.markdown(f"**{verbatim(line.title)}**  \nsaved {line.saved}", width="stretch")
            if st.button("Go on writing", key=f"list.draft.{line.id}", icon=":material/edit:"):
                session.open_draft(line.id)
                frame.go(session, "job")
            with st.popover("Drop", icon=":material/close:"):
                st.markdown(f"The unfinished job “{verbatim(line.title)}” cannot be got back.")
                if st.button("Forget it", key=f"list.drop.{line.id}"):
                    session.drop_draft(JOB_DRAFT + line.id)
                    frame.again()


def _list(session: WizardSession, summaries: list[Summary]) -> None:
    st.subheader("Dossiers", anchor=False)
    wanted = ""
    if len(summaries) > 5:
        wanted = st.text_input(
            "Find a dossier", key="list.find", icon=":material/search:",
            placeholder="words of its title, a solvent, an analyte, a state",
        )
    lines = dossier_lines(summaries, wanted)
    limit = len(lines) if st.session_state.get("list.all") else SHOWN_AT_FIRST
    for line in lines[:limit]:
        is_open = line.id == session.dossier_id
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            mark = " (open now)" if is_open else ""
            st.markdown(f"**{verbatim(line.title)}**{mark}  \n:small[{verbatim(line.facts)}]",
                        width="stretch")
            if st.button("Open", key=f"list.open.{line.id}", icon=":material/arrow_forward:",
                         help=f"Open “{verbatim(line.title)}”."):
                session.open(line.id)
                frame.go(session, navigation.next_step(session.progress().facts).key)
    if not lines:
        st.markdown("No dossier holds all of these words. Try fewer of them.")
    if len(lines) > limit:
        st.button(f"Show all {len(lines)}", key="list.more", icon=":material/expand_more:",
                  on_click=_show_all)


def _show_all() -> None:
    st.session_state["list.all"] = True


def _import(session: WizardSession) -> None:
    with st.expander("Bring in a dossier from a file", icon=":material/upload_file:"):
        given = st.file_uploader("Dossier file, as another Boilwright exported it",
                                 type=["zip"], key="list.import")
        if given is not None and st.button("Bring it in", key="list.import.go"):
            session.open(transfer.import_dossier(session.service, given.getvalue()).id)
            frame.go(session, "report")
