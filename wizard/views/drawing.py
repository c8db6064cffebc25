"""Charts on a page. What was drawn is kept: building and checking a chart is slow."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import altair as alt
import streamlit as st

from wizard import caching
from wizard.charts.decimal_sign import with_commas
from wizard.charts.map_marks import PICK
from wizard.session import WizardSession, digest


def show(make: Callable[..., Any], *given: Any, key: str = "") -> None:
    """Draw the chart that ``make`` makes of what it is given, as wide as the page.

    ``key`` stands for what is given where its ``repr`` does not tell it all (arrays).
    """
    for spec in _specs(make, given, key):
        st.vega_lite_chart(spec, theme=None, width="stretch")


def show_to_click(
    make: Callable[..., Any], *given: Any, key: str, widget: str
) -> dict[str, Any] | None:
    """Draw one chart and give the fields of the place that was just clicked, once a click.

    ``widget`` names the chart on its page; the chart has a point selection of that name in
    :data:`wizard.charts.map_marks.PICK`.
    """
    (spec,) = _specs(make, given, key)
    event = st.vega_lite_chart(spec, theme=None, width="stretch", key=widget,
                               on_select="rerun", selection_mode=PICK)
    points = event.selection.get(PICK) or []
    if not points or points[0] == st.session_state.get(f"clicked.{widget}"):
        return None
    st.session_state[f"clicked.{widget}"] = dict(points[0])
    return dict(points[0])


def show_stack(make: Callable[..., Any], *given: Any, key: str = "") -> None:
    """Draw the charts that ``make`` makes one below the other, as :func:`show`."""
    with st.container(gap="small"):
        show(make, *given, key=key)


def show_row(make: Callable[..., Any], *given: Any) -> None:
    """Draw the charts that ``make`` makes side by side, as many in a row as the window holds."""
    with st.container(horizontal=True):
        for spec in _specs(make, given, ""):
            st.vega_lite_chart(spec, theme=None, width="content")


def _specs(make: Callable[..., Any], given: tuple[Any, ...], key: str) -> list[dict[str, Any]]:
    units = WizardSession.current().units

    def draw() -> list[dict[str, Any]]:
        made = make(*given)
        with alt.theme.enable("none"):  # valid by the tests; checking takes longer than drawing
            specs = [c.to_dict(validate=False)
                     for c in (made if isinstance(made, list | tuple) else [made])]
        return specs if units.decimal == "point" else [with_commas(s, units.sign) for s in specs]

    name = f"{make.__module__}.{make.__qualname__}"
    return caching.kept(f"drawn {name}", digest(key or given, units.decimal), draw)
