"""Anything that takes longer than a second: a bar, the time left, and a way to stop."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

import streamlit as st

from experiments.progress import Progress, unwatched
from wizard import caching, frame

Result = TypeVar("Result")


def answer(
    name: str, key: str, label: str, make: Callable[[Progress], Result]
) -> Result | None:
    """An answer that may take a while; None when the reader stopped it.

    Parameters
    ----------
    name, key : what is asked, and a digest of what the answer rests on
    label : what is being done, for the bar
    make : works it out, calling back with the share done and what is being done
    """
    if caching.is_kept(name, key):
        return caching.kept(name, key, lambda: make(unwatched))
    stopped = f"stopped.{name}.{key}"
    place = st.empty()
    if st.session_state.get(stopped):
        with place.container(border=True):
            st.markdown(f"Stopped: {label}.")
            if st.button("Go on", key=f"go.{name}.{key}", icon=":material/play_arrow:"):
                st.session_state.pop(stopped)
                frame.again()
        return None
    with place.container():
        bar = st.progress(0.0, text=f"{label} …")
        st.button("Stop", key=f"stop.{name}.{key}", icon=":material/stop:",
                  on_click=_stop, args=(stopped,))
    result = caching.kept(name, key, lambda: make(_told(bar, label)))
    place.empty()
    return result


def act(label: str, make: Callable[[Progress], Result]) -> Result:
    """Do something that takes a while and then changes the record, with a bar.

    Stopped before its end, nothing was changed: the record is written last, at once.
    """
    place = st.empty()
    with place.container():
        bar = st.progress(0.0, text=f"{label} …")
        st.button("Stop", key=f"stop.{label}", icon=":material/stop:")
    result = make(_told(bar, label))
    place.empty()
    return result


def _stop(name: str) -> None:
    st.session_state[name] = True


def _told(bar: st.delta_generator.DeltaGenerator, label: str) -> Progress:
    start = time.monotonic()
    shown = [0.0]

    def tell(share: float, what: str) -> None:
        now = time.monotonic()
        if now - shown[0] < 0.1:
            return
        shown[0] = now
        inside = min(max(share, 0.0), 1.0)
        bar.progress(inside, text=f"{label}: {what}{_left(now - start, inside)}")

    return tell


def _left(elapsed: float, share: float) -> str:
    """How long it will still take, once that can be told."""
    if elapsed < 1.0 or share < 0.05:
        return " …"
    seconds = elapsed * (1.0 - share) / share
    if seconds < 1.5:
        return ", nearly done"
    if seconds < 90:
        return f", about {seconds:.0f} s left"
    return f", about {seconds / 60:.0f} min left"
