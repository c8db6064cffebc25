"""Fields whose content is kept as it is typed, until the form they belong to is confirmed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from wizard.job_form import Place
from wizard.session import WizardSession
from wizard.typing_table import Heads, typing_table


class KeptForm:
    """Fields under one draft: a refresh, another tab or a new start of the server keep them."""

    def __init__(self, session: WizardSession, name: str) -> None:
        self.session, self.name = session, name
        self._kept = session.draft(name) or {}

    def text(
        self, field: str, label: str, default: str = "", where: Place | None = None,
        **options: Any,
    ) -> str:
        """A line of text."""
        value = str(self._kept.get(field, default))
        key = self._key(field)
        typed: str = (where or st).text_input(label, value, key=key, **options) or ""
        self._note(field, typed, value)
        return typed

    def choice(
        self, field: str, label: str, options: Sequence[str], default: str,
        say: Callable[[str], str] = str, where: Place | None = None,
    ) -> str:
        """One of several."""
        kept = str(self._kept.get(field, default))
        value = kept if kept in options else default
        chosen = str((where or st).selectbox(label, options, index=list(options).index(value),
                                             format_func=say, key=self._key(field)))
        self._note(field, chosen, value)
        return chosen

    def table(
        self, field: str, label: str, heads: Heads, rows: list[list[str]]
    ) -> list[list[str]]:
        """A table to type into."""
        kept = self._kept.get(field)
        fits = isinstance(kept, list) and [len(r) for r in kept] == [len(r) for r in rows]
        start = kept if isinstance(kept, list) and fits else rows
        typed = typing_table(label, heads, start, self._key(field))
        self._note(field, typed, start)
        return typed

    def done(self) -> None:
        """The form was confirmed: its fields start again."""
        self.session.drop_draft(self.name)
        self.session.renew(self.name)

    def _key(self, field: str) -> str:
        return f"{self.name}:{field}:{self.session.generation(self.name)}"

    def _note(self, field: str, now: object, first: object) -> None:
        seen = f"seen:{self._key(field)}"
        if now != st.session_state.get(seen, first):
            self._kept = {**(self.session.draft(self.name) or {}), field: now}
            self.session.keep_draft(self.name, self._kept)
        st.session_state[seen] = now
