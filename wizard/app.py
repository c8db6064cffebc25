"""The wizard: its pages in order, who may enter, the menu and the units."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from wizard import menu, warming
from wizard.frame import again, faults_shown
from wizard.session import UNIT_KEYS, WizardSession, is_sign_in_configured

STATIC = Path(__file__).parent / "static"

st.set_page_config(page_title="Boilwright", page_icon=str(STATIC / "mark.png"), layout="wide",
                   initial_sidebar_state="auto")


def unit_choice(session: WizardSession) -> None:
    """Units and decimal sign, for the eyes only; the record keeps mbar and degC."""
    with st.sidebar.expander("Units and decimal sign", icon=":material/straighten:"):
        for key, (name, allowed) in UNIT_KEYS.items():
            now = getattr(session.units, name)
            chosen = st.selectbox(
                "Decimal sign" if key == "d" else name.capitalize(), allowed,
                index=allowed.index(now), key=f"units.{key}.{now}",
            )
            if chosen != now:
                session.choose_unit(key, chosen)
                again()


IS_DARK = st.context.theme.type == "dark"
st.html(STATIC / "wizard.css")
st.html(STATIC / "reach.html", unsafe_allow_javascript=True)
if IS_DARK:
    st.html(STATIC / "dark.css")
st.logo(STATIC / ("logo-dark.svg" if IS_DARK else "logo.svg"), size="large")
if is_sign_in_configured() and not st.user.is_logged_in:
    st.title("Who are you?", anchor=False)
    st.markdown("This laboratory keeps its dossiers under names; sign in to go on.")
    st.button("Sign in", on_click=st.login, type="primary", icon=":material/login:")
    st.stop()

with faults_shown():
    current = WizardSession.current()
    if is_sign_in_configured():
        menu.show_who(current.service.user)
    chosen_page = st.navigation(menu.pages(), position="hidden")
    menu.show(current, current.progress().facts)
    unit_choice(current)
    chosen_page.run()
warming.begin()  # only now: it would hold the first page up
