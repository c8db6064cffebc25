"""Forms as far as somebody has filled them in: a person's own, apart from the record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from experiments.service import Session
from experiments.storage.protocol import Draft


def drafts(session: Session) -> list[Draft]:
    """The user's own unfinished forms, last saved first."""
    session.user.must("read")
    return session.store.drafts(session.user.name)


def keep_draft(session: Session, name: str, content: Mapping[str, Any]) -> None:
    """Keep a form of the user's as far as it is filled in; an empty one is forgotten."""
    session.user.must("enter")
    session.store.save_draft(Draft(session.user.name, name, session.clock(), content))
