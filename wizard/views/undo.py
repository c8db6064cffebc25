"""Taking back the last change of a form that is not confirmed yet."""

from __future__ import annotations

import streamlit as st

from wizard.session import WizardSession


def undo_button(session: WizardSession, name: str) -> None:
    """A button that takes the last change of a form back, as often as there are changes."""
    st.button("Undo", key=f"undo.button.{name}", icon=":material/undo:", on_click=session.undo,
              args=(name,), disabled=not session.can_undo(name),
              help="Takes the last change of what is typed here back.")
