"""The menu: the pages by section, on the dossier that is open; a tick where work is done.

Streamlit's own menu leaves the dossier out of its links, so that a page opened in a second
tab would not know it, and its lists are not ones a screen reader understands.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import groupby
from pathlib import Path

import streamlit as st

from experiments.roles import ROLES
from experiments.users import User
from experiments.wording import listed
from wizard import frame, navigation
from wizard.session import WizardSession
from wizard.verbatim import verbatim

CLOSES = Path(__file__).parent / "static" / "menu.html"
"""In a narrow window the menu lies over the page and must go when a page was chosen."""


def pages() -> list[st.Page]:
    """Every page, as Streamlit must know it."""
    return [
        st.Page(s.file, title=s.title, url_path=s.key, default=s.key == navigation.HOME)
        for s in navigation.STEPS
    ]


def show(session: WizardSession, facts: Collection[str]) -> None:
    """Draw the links of the side."""
    with st.sidebar, st.container(key="menu", gap=None):
        st.html(CLOSES, unsafe_allow_javascript=True)
        for section, steps in groupby(navigation.STEPS, key=lambda step: step.section):
            if section:
                st.markdown(f"**{section}**")
            for step in steps:
                is_done = navigation.is_done(step.key, facts)
                frame.link(session, step.key, step.title,
                           icon="task_alt" if is_done else step.icon)


def show_who(user: User) -> None:
    """Who is signed in, what they may do here, and the way out."""
    with st.sidebar:
        may = listed([role for role in ROLES if role in user.roles])
        st.caption(f":material/person: **{verbatim(user.name)}** "
                   f"{f'may {may}' if may else 'has no role here'}.")
        st.button("Sign out", on_click=st.logout, key="menu.sign_out", icon=":material/logout:")
