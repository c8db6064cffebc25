"""Colours, type and the one way a chart becomes a picture.

The hues differ in lightness as well, so they keep apart in the common kinds of colour
blindness and on a grey printer; and no chart relies on colour alone.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import altair as alt
import vl_convert

FONTS = Path(__file__).parent / "fonts"
FONT = "Atkinson Hyperlegible Next"

INK, MUTED, GRID, PAPER = "#1C2830", "#56626A", "#DDE1E2", "#FFFFFF"
MAIN, SECOND, THIRD = "#0E6C78", "#B36B12", "#8A3A63"
SERIES = ("#0E6C78", "#C07A1C", "#8A3A63", "#3B5C93", "#6E7B36", "#A04B36", "#5C6870", "#3F8F86")
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down",
          "triangle-right", "triangle-left")
BANDS = ("#F0EEE8", "#D9E2E0", "#A9C9C8", "#5FA3A5")
"""Fills from "unlikely" to "at the asked assurance", ever darker."""
TEXT_WIDTH = 540
"""Width of a figure that fills the page, in points of the chart."""
PAGE_SCALE = 0.86
"""Points on paper for a point of the chart."""


def dressed(chart: Any) -> dict[str, Any]:
    """The chart's specification with our type, axes and legend."""
    made = (
        chart.configure(background=PAPER, font=FONT, padding=4)
        .configure_view(stroke=GRID, strokeWidth=0.7)
        .configure_axis(
            labelFontSize=9.5, titleFontSize=10, titleFontWeight=400, labelColor=INK,
            titleColor=INK, gridColor="#EBEDED", gridWidth=0.6, domainColor=MUTED,
            tickColor=MUTED, tickSize=4, titlePadding=5, labelLimit=190,
        )
        .configure_legend(
            labelFontSize=9.5, titleFontSize=10, titleFontWeight=400, labelColor=INK,
            titleColor=INK, symbolSize=70, orient="bottom", direction="horizontal",
            columns=4, labelLimit=210, offset=8,
        )
        .configure_header(labelFontSize=10, labelColor=INK, titleFontSize=10, labelPadding=4)
        .configure_title(fontSize=10.5, fontWeight=600, color=INK, anchor="start", offset=6)
    )
    found: dict[str, Any] = made.to_dict()
    return found


def rows(values: list[dict[str, Any]]) -> Any:
    """A chart of tidy rows, still without marks."""
    return alt.Chart(alt.Data(values=values))  # type: ignore[no-untyped-call]


@lru_cache(maxsize=1)
def _register_fonts() -> None:
    vl_convert.register_font_directory(str(FONTS))


def svg(chart: dict[str, Any]) -> str:
    """The chart as SVG text; the same chart gives the same text."""
    _register_fonts()
    return str(vl_convert.vegalite_to_svg(json.dumps(chart)))


def png(chart: dict[str, Any], scale: float = 3.0) -> bytes:
    """The chart as a picture, for formats that take no vectors."""
    _register_fonts()
    return bytes(vl_convert.vegalite_to_png(json.dumps(chart), scale=scale))
