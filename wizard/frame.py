"""What every page has around its content: its question, what it lacks, the way on."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import NoReturn

import streamlit as st

from experiments import logs
from experiments.faults import EXPECTED
from experiments.storage.protocol import UnknownDossier
from wizard import messages, navigation
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models.tour import stop_at

Render = Callable[[WizardSession], None]


def page(key: str, render: Render) -> None:
    """Draw a page: its question first, then its content, then the way on."""
    session = WizardSession.current()
    step = navigation.step(key)
    with faults_shown():
        try:
            dossier = session.dossier()
        except UnknownDossier as error:
            st.title(step.question, anchor=False)
            _show(messages.sentences(error))
            st.page_link(navigation.step(navigation.HOME).file, label="List the dossiers",
                         icon=":material/folder_open:")
            return
        if dossier is not None and key != navigation.HOME:
            _subject(session, dossier.job.title)
        st.title(step.question, anchor=False)
        _tour(session, key)
        lacking = navigation.missing(key, session.progress().facts)
        if lacking is not None:
            _lacking(session, *lacking)
            return
        render(session)
        _way_on(session, key)


@contextlib.contextmanager
def faults_shown() -> Iterator[None]:
    """Show expected faults as sentences; log the others and say so."""
    try:
        yield
    except EXPECTED as error:
        _show(messages.sentences(error))
    except Exception as error:  # noqa: BLE001 - the last barrier before the reader
        logs.LOGGER.exception("page failed")
        _show(messages.sentences(error))


def _show(lines: list[str]) -> None:
    st.error("\n\n".join(map(verbatim, lines)), icon=":material/report:")


def _subject(session: WizardSession, title: str) -> None:
    st.caption(f":material/folder_open: {verbatim(title)} · dossier {session.dossier_id}")


def _tour(session: WizardSession, key: str) -> None:
    """What to look at on this page, for those who were just shown an example."""
    stop = stop_at(key) if session.is_on_tour else None
    if stop is None:
        return
    with st.container(border=True, key="tour"):
        st.markdown(f"**Tour, stop {stop.number} of {stop.of}.** {stop.text}")
        with st.container(horizontal=True, vertical_alignment="center"):
            if stop.after:
                link(session, stop.after, f"Next stop: {navigation.step(stop.after).title}",
                     icon="arrow_forward")
            if st.button("End the tour", key="tour.end", icon=":material/close:"):
                session.tour(on=False)
                again()


def again() -> NoReturn:
    """Draw the page again from its beginning, unless the reader has turned to another meanwhile.

    A request that waits is heard first: ``st.rerun`` takes its place, and with it that of the
    page it asks for.
    """
    st.empty()
    st.rerun()


def _lacking(session: WizardSession, sentence: str, helper: str) -> None:
    """An empty page says what to do next."""
    step = navigation.step(helper)
    with st.container(border=True):
        fills = "" if (sentence, helper) == navigation.CLOSED else (
            " This page fills once there is one.")
        st.markdown(f"**{sentence}**{fills}")
        side_by_side = st.container(horizontal=True)  # wraps where the window is narrow
        link(session, helper, f"Go to {step.title}", side_by_side)
        link(session, navigation.HOME, "Choose a dossier or an example", side_by_side)


def _way_on(session: WizardSession, key: str) -> None:
    before, after = navigation.neighbours(key)
    if before is None and after is None:
        return
    st.space("small")
    left, right = st.columns(2)
    if before is not None:
        link(session, before.key, f"Back to {before.title}", left, icon="arrow_back")
    if after is not None and session.dossier_id:
        link(session, after.key, f"On to {after.title}", right, icon="arrow_forward")


def link(
    session: WizardSession, key: str, label: str,
    where: st.delta_generator.DeltaGenerator | None = None, icon: str | None = None,
) -> None:
    """A link to another page that opens on the same dossier."""
    step = navigation.step(key)
    (where or st).page_link(step.file, label=label, icon=f":material/{icon or step.icon}:",
                            query_params=session.address)


def go(session: WizardSession, key: str) -> None:
    """Turn to another page, on the same dossier."""
    st.switch_page(navigation.step(key).file, query_params=session.address)
