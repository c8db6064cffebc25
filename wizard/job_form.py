"""The form of a job: widgets bound to a draft that is saved at every change.

Two tabs may write on one draft: only what was changed in this tab is written, and what was
changed elsewhere is shown at the next run.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from typing import Any, Literal

import streamlit as st

from wizard.session import WizardSession
from wizard.units import Units
from wizard.verbatim import verbatim
from wizard.view_models.job_draft import (
    Draft,
    DraftCheck,
    check,
    put,
    put_text,
    shown_text,
    value_at,
)
from wizard.view_models.job_fields import Field

Place = st.delta_generator.DeltaGenerator
Visibility = Literal["visible", "collapsed"]


class JobForm:
    """A draft with its widgets; ``finish`` checks it, saves it and shows faults beside fields."""

    def __init__(self, session: WizardSession, name: str, start: Callable[[], Draft]) -> None:
        self.session = session
        self.name = name
        kept = session.draft(name)
        self.draft: Draft = kept if kept is not None else start()
        self._read = copy.deepcopy(self.draft)
        self.slots: dict[str, Place] = {}

    @property
    def units(self) -> Units:
        return self.session.units

    def value(self, path: str) -> Any:
        return value_at(self.draft, path)

    def put(self, path: str, value: Any) -> None:
        put(self.draft, path, value)

    # -- widgets -------------------------------------------------------------------------

    def field(self, field: Field, where: Place | None = None, label: str | None = None,
              is_headed: bool = False) -> None:
        """One field: its widget, and a place for what is wrong with it.

        ``is_headed`` leaves the label to screen readers, because a heading shows it.
        """
        spot = where or st.container()
        shown: Visibility = "collapsed" if is_headed else "visible"
        if field.kind == "choice":
            self._choice(field, spot, label or field.label, shown)
        else:
            self._text(field, spot, label or field.label, shown)
        self.slots[field.path] = spot.empty()

    def _text(self, field: Field, spot: Place, label: str, shown: Visibility) -> None:
        unit = self.units.unit(field.key) if field.kind == "number" else ""
        key = self._key(field.path, unit)
        typed = self._changed(key, shown_text(self.draft, field, self.units))
        if typed is not None:
            put_text(self.draft, field, typed, self.units)
        spot.text_input(f"{label}, {unit}" if unit else label, key=key, help=field.help or None,
                        placeholder=self._placeholder(field), label_visibility=shown)

    def _placeholder(self, field: Field) -> str:
        if not field.assumed:
            return "optional" if field.optional else "to fill in"
        shown = self.units.sign(
            f"{self.units.shown(field.key, float(field.assumed)):.6g}"
        ) if field.kind == "number" else field.assumed
        return f"assumed {shown}"

    def _choice(self, field: Field, spot: Place, label: str, shown: Visibility) -> None:
        words = dict(field.choices)
        now = self.value(field.path)
        fallback = field.assumed if field.assumed in words else next(iter(words))
        key = self._key(field.path, "choice")
        chosen = self._changed(key, now if now in words else fallback)
        if chosen is not None:
            self.put(field.path, chosen or None)
        spot.selectbox(label, list(words), key=key, format_func=lambda v: words.get(v, v),
                       help=field.help or None, label_visibility=shown)

    def toggle(self, path: str, label: str, is_on: bool, where: Place | None = None,
               help_text: str | None = None) -> bool | None:
        """A switch; the new position when it was just moved, else None."""
        key = self._key(path, "switch")
        moved: bool | None = self._changed(key, is_on)
        (where or st).toggle(label, key=key, help=help_text)
        return moved

    def select(self, path: str, label: str, options: list[str], now: str | None,
               where: Place | None = None, show: Mapping[str, str] | None = None) -> str | None:
        """A choice among names; the new one when it was just made, else None."""
        key = self._key(path, "select")
        known = [*options, *([now] if now and now not in options else [])]
        chosen: str | None = self._changed(key, now)
        (where or st).selectbox(label, known, key=key, placeholder="choose or type to search",
                                format_func=lambda v: str((show or {}).get(v, v)))
        return chosen

    def _key(self, path: str, kind: str) -> str:
        return f"{self.name}/{path}/{kind}"

    def _changed(self, key: str, stored: Any) -> Any:
        """What the reader just put into a widget, else None; and let it show the draft."""
        seen = st.session_state.setdefault("job.seen", {})
        if key in st.session_state:
            now = st.session_state[key]
            if now != seen.get(key):
                seen[key] = now
                return now
        if st.session_state.get(key) != stored or key not in st.session_state:
            st.session_state[key] = stored
        seen[key] = stored
        return None

    # -- the end of a run ----------------------------------------------------------------

    def finish(self) -> DraftCheck:
        """Check the draft, save it when it changed, and say beside each field what is wrong."""
        self.save()
        found = check(self.draft)
        for path, slot in self.slots.items():
            lines = [f"{said(f.message)} {f.cure}" for f in found.at(path)]
            if lines:
                slot.markdown(":red[:material/error: " + verbatim(" ".join(lines)) + "]")
        return found

    def save(self) -> None:
        """Keep the draft in the store when it differs from what was read."""
        if self.draft != self._read:
            self.session.keep_draft(self.name, self.draft)
            self._read = copy.deepcopy(self.draft)

    def forget(self) -> None:
        """The draft became a job: drop it and its widgets."""
        self.session.drop_draft(self.name)
        for key in [k for k in st.session_state if str(k).startswith(f"{self.name}/")]:
            del st.session_state[key]
        st.session_state.pop("job.seen", None)


PREDICATES = ("is ", "must ", "reaches ", "starts ", "needs ", "names ", "has ")


def said(message: str) -> str:
    """What is wrong with a field, as a sentence that can stand below it."""
    if message.startswith(PREDICATES):
        return f"This {message}"
    return f"{message[:1].upper()}{message[1:]}"
