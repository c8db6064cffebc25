"""What is kept between runs of a page: the store, and answers that only depend on the record.

Keys are digests of what an answer rests on, never the objects themselves.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from typing import Any, TypeVar

import streamlit as st

from experiments.bootstrap import STORE_VARIABLE, open_store
from experiments.storage.protocol import DossierStore

Result = TypeVar("Result")
KEPT = 16
"""Answers of one name that are kept; the oldest go first."""
_LOCK = threading.Lock()
"""Sessions are threads; it is held while answers are looked up, not while they are made."""


def store() -> DossierStore:
    """The store this server works on, opened once."""
    return _store(os.environ.get(STORE_VARIABLE, ""))


@st.cache_resource(show_spinner=False)
def _store(url: str) -> DossierStore:
    return open_store(url or None)


def kept(name: str, digest: str, make: Callable[[], Result]) -> Result:
    """The answer ``name`` for what ``digest`` stands for; made when it is not there yet.

    Answers are records nobody changes, so every session may see the same object.
    """
    with _LOCK:
        answers = _answers().setdefault(name, {})
        if digest in answers:
            found: Result = answers[digest]
            return found
    made = make()
    with _LOCK:
        answers[digest] = made
        while len(answers) > KEPT:
            answers.pop(next(iter(answers)))
    return made


def is_kept(name: str, digest: str) -> bool:
    """Whether an answer is there already."""
    return digest in _answers().get(name, {})


@st.cache_resource(show_spinner=False)
def _answers() -> dict[str, dict[str, Any]]:
    return {}
