"""The only reader and writer of session state and of the address of a page.

Between two runs of a page only ids and choices of display are remembered here; whatever was
typed is in the store, as a draft or in the record.
"""

from __future__ import annotations

import copy
import hashlib
import re
import uuid
from collections.abc import Mapping
from typing import Any

import streamlit as st

from experiments import drafts, service
from experiments.bootstrap import local_user
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN
from experiments.roles import signed_in_user
from experiments.storage.protocol import Draft, UnknownDossier
from experiments.users import User
from wizard import caching
from wizard.navigation import Progress
from wizard.units import DECIMAL_SIGNS, PRESSURE_UNITS, TEMPERATURE_UNITS, Units

DOSSIER, DRAFT, TOUR = "dossier", "draft", "tour"
UNITS = "units"
"""The draft in which the units of a reader are kept."""
UNDO_STEPS = 30
"""Changes of a form that can be taken back."""
DRAFT_ID = re.compile(r"[A-Za-z0-9_.-]{1,100}")
UNIT_KEYS = {"p": ("pressure", PRESSURE_UNITS), "t": ("temperature", TEMPERATURE_UNITS),
             "d": ("decimal", DECIMAL_SIGNS)}


class WizardSession:
    """One reader at one page: who, which dossier, which units, and the use-cases."""

    def __init__(self) -> None:
        self.service = service.Session(caching.store(), current_user())
        self._dossier: Dossier | None = None

    @classmethod
    def current(cls) -> WizardSession:
        return cls()

    # -- what is open ------------------------------------------------------------------

    @property
    def dossier_id(self) -> str | None:
        """The dossier in the address, else the one open before; the address follows."""
        return _remembered(DOSSIER)

    @property
    def draft_id(self) -> str | None:
        """The unfinished job in the address, when no dossier is open."""
        given = None if self.dossier_id else _remembered(DRAFT)
        return given if given and DRAFT_ID.fullmatch(given) else None

    def dossier(self) -> Dossier | None:
        """The open dossier, read from the store once a run; None when there is none."""
        if self._dossier is None and self.dossier_id:
            self._dossier = service.load(self.service, self.dossier_id)
        return self._dossier

    def must_dossier(self) -> Dossier:
        """The open dossier; UnknownDossier when none is open."""
        found = self.dossier()
        if found is None:
            raise UnknownDossier("")
        return found

    def progress(self) -> Progress:
        """How far the open dossier is."""
        try:
            dossier = self.dossier()
        except UnknownDossier:
            return Progress()
        if dossier is None:
            return Progress()
        advice = dossier.details.recommendation
        return Progress(
            job=True,
            proposed=any(t.origin == "proposed" and t.state != "withdrawn"
                         for t in dossier.trials),
            recorded=bool(dossier.recorded),
            recommended=bool(advice and advice.get("setting")),
            verified=dossier.state in ("verified", "approved"),
            closed=dossier.state in FROZEN,
        )

    def open(self, dossier_id: str) -> None:
        """Make a dossier the open one; a draft in the address is put away."""
        _forget(DRAFT)
        _remember(DOSSIER, dossier_id)
        self._dossier = None

    def open_draft(self, draft_id: str | None = None) -> str:
        """Make an unfinished job the open one, a new one when no id is given."""
        chosen = draft_id or uuid.uuid4().hex[:8]
        _forget(DOSSIER)
        _remember(DRAFT, chosen)
        self._dossier = None
        return chosen

    def close(self) -> None:
        """Nothing is open any more."""
        _forget(DOSSIER)
        _forget(DRAFT)
        self._dossier = None

    @property
    def address(self) -> dict[str, str]:
        """The query of links to other pages, so that they open on the same dossier."""
        open_now = {DOSSIER: self.dossier_id, DRAFT: self.draft_id, TOUR: _remembered(TOUR)}
        shown = {k: str(st.query_params[k]) for k in UNIT_KEYS if k in st.query_params}
        return {**{k: v for k, v in open_now.items() if v}, **shown}

    # -- the tour ------------------------------------------------------------------------

    @property
    def is_on_tour(self) -> bool:
        """Whether each page says what to look at, as on an example opened for the first time."""
        return bool(_remembered(TOUR))

    def tour(self, on: bool) -> None:
        """Begin the tour of an example, or end it."""
        if on:
            _remember(TOUR, "on")
        else:
            _forget(TOUR)

    # -- units ---------------------------------------------------------------------------

    @property
    def units(self) -> Units:
        """The units the reader chose, by the address or, where it names none, the last time."""
        if not st.session_state.get(UNITS):
            st.session_state[UNITS] = True
            kept = (self.draft(UNITS) or {}) if "enter" in self.service.user.roles else {}
            if not any(_remembered(key) for key in UNIT_KEYS):
                for key in UNIT_KEYS.keys() & kept.keys():
                    _remember(key, str(kept[key]))
        chosen = {}
        for key, (name, allowed) in UNIT_KEYS.items():
            value = _remembered(key)
            if value in allowed:
                chosen[name] = value
        return Units(**chosen)

    def choose_unit(self, key: str, value: str) -> None:
        """Show a quantity in another unit."""
        usual = getattr(Units(), UNIT_KEYS[key][0])
        if value == usual:
            _forget(key)
        else:
            _remember(key, value)
        kept = {k: v for k, v in (self.draft(UNITS) or {}).items() if k != key}
        self._save_draft(UNITS, kept if value == usual else {**kept, key: value})

    # -- drafts --------------------------------------------------------------------------

    def drafts(self) -> list[Draft]:
        """The reader's unfinished forms, last saved first."""
        return drafts.drafts(self.service)

    def draft(self, name: str) -> dict[str, Any] | None:
        """What was typed and not yet confirmed; None when there is nothing."""
        found = next((d for d in self.drafts() if d.name == name), None)
        return None if found is None else copy.deepcopy(dict(found.content))

    def keep_draft(self, name: str, content: Mapping[str, Any]) -> None:
        """Keep what was typed; an empty form is forgotten. What stood there can be had again."""
        steps = st.session_state.setdefault(f"undo.{name}", [])
        steps.append(self.draft(name) or {})
        del steps[:-UNDO_STEPS]
        self._save_draft(name, content)

    def can_undo(self, name: str) -> bool:
        """Whether a change of a form can be taken back."""
        return bool(st.session_state.get(f"undo.{name}"))

    def undo(self, name: str) -> None:
        """Take the last change of a form back; widgets with values of their own are renewed."""
        steps = st.session_state.get(f"undo.{name}")
        if steps:
            self._save_draft(name, steps.pop())
            self.renew(name)

    def drop_draft(self, name: str) -> None:
        """The form was confirmed or given up: nothing of it is kept."""
        self._save_draft(name, {})  # first: turning the page here stops the rest
        st.session_state.pop(f"undo.{name}", None)

    def _save_draft(self, name: str, content: Mapping[str, Any]) -> None:
        """Save for the reader alone; who may only read keeps nothing."""
        if "enter" in self.service.user.roles:
            drafts.keep_draft(self.service, name, content)

    # -- small marks of a page -------------------------------------------------------------

    def mark(self, name: str, value: Any = True) -> None:
        """Remember something until the next run asks for it."""
        st.session_state[f"mark.{name}"] = value

    def take_mark(self, name: str) -> Any:
        """What was remembered under a name, once."""
        return st.session_state.pop(f"mark.{name}", None)

    def generation(self, name: str) -> int:
        """A number in the keys of widgets; a new one makes them read their values again."""
        return int(st.session_state.get(f"generation.{name}", 0))

    def renew(self, name: str) -> None:
        """Make the widgets of a group read their values again."""
        st.session_state[f"generation.{name}"] = self.generation(name) + 1

    @property
    def theme(self) -> str:
        """"light" or "dark", as the page is shown."""
        return st.context.theme.type or "light"


def digest(*parts: object) -> str:
    """A short key for what an answer rests on."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:24]


def current_user() -> User:
    """Who sits at the page: signed in where that is configured, else the local user.

    A person is known by the e-mail address that the provider vouches for, else by the subject;
    never by a display name, which people may choose themselves.
    """
    if not is_sign_in_configured():
        return local_user()
    if not st.user.is_logged_in:
        return User("not signed in", frozenset())
    email = st.user.get("email") if st.user.get("email_verified", True) else None
    return signed_in_user(str(email or st.user.get("sub") or ""))


def is_sign_in_configured() -> bool:
    """Whether the server's secrets name an OpenID Connect provider."""
    return bool(st.secrets.load_if_toml_exists() and "auth" in st.secrets)


def _remembered(key: str) -> str | None:
    given = st.query_params.get(key)
    if given:
        st.session_state[f"open.{key}"] = given
        return str(given)
    kept = st.session_state.get(f"open.{key}")
    if kept:
        st.query_params[key] = kept
    return kept


def _remember(key: str, value: str) -> None:
    st.session_state[f"open.{key}"] = value
    st.query_params[key] = value


def _forget(key: str) -> None:
    st.session_state.pop(f"open.{key}", None)
    st.query_params.pop(key, None)
