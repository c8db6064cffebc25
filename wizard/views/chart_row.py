"""Small charts side by side, as many in a row as the window holds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st


def show_row(charts: Sequence[Any]) -> None:
    """Draw them in reading order."""
    with st.container(horizontal=True):
        for chart in charts:
            st.altair_chart(chart, theme=None, width="content")
