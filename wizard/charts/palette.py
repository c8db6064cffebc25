"""Colours and shapes of the charts, for light and for dark pages.

The hues keep apart in the common kinds of colour blindness because they differ in lightness
as well; and no chart relies on them alone: series carry shapes or labels too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

FONT = "Atkinson Hyperlegible Next, DejaVu Sans, sans-serif"
PLAIN_LABEL = "format(datum.value, '.6~g')"
"""Axis labels without thousands marks or exponents."""
NARROW_PX = 480
"""A chart of fewer pixels across is drawn as in a narrow window."""
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down", "stroke",
          "triangle-right")


@dataclass(frozen=True)
class Palette:
    """Colours by role."""

    paper: str
    ink: str
    muted: str
    grid: str
    main: str
    second: str
    third: str
    series: tuple[str, ...]
    shades: tuple[str, ...]
    """Fills of regions that are closed, from faint to strong."""


LIGHT = Palette(
    paper="#FCFBF8", ink="#1C2830", muted="#56626A", grid="#E4DED1", main="#0E6C78",
    second="#B36B12", third="#8A3A63",
    series=("#0E6C78", "#C07A1C", "#8A3A63", "#3B5C93", "#6E7B36", "#A04B36", "#5C6870",
            "#3F8F86"),
    shades=("#ECE7DB", "#DDD6C6", "#CDC5B3", "#BDB4A1", "#ADA490"),
)
DARK = Palette(
    paper="#11191D", ink="#ECE7DB", muted="#A9B3B8", grid="#2A373D", main="#6CC3CB",
    second="#E0A458", third="#D58AB0",
    series=("#6CC3CB", "#E0A458", "#D58AB0", "#93B1E3", "#B9C77A", "#E09078", "#AEB8BD",
            "#7FD0C4"),
    shades=("#1F2C32", "#2C3B42", "#394A52", "#465963", "#546973"),
)


def palette(theme: str | None) -> Palette:
    """The palette of a page's theme, "light" or "dark"."""
    return DARK if theme == "dark" else LIGHT


def dressed(chart: Any, colours: Palette) -> Any:
    """The chart with our type, axes and legend; the last step of every chart."""
    axis = {
        "labelFont": FONT, "titleFont": FONT, "labelFontSize": 13, "titleFontSize": 13,
        "titleFontWeight": 500, "labelColor": colours.muted, "titleColor": colours.ink,
        "gridColor": colours.grid, "domainColor": colours.muted, "tickColor": colours.muted,
        "titlePadding": 10, "labelFlush": False,
    }
    letters = {"labelFont": FONT, "titleFont": FONT}
    return chart.configure(  # all at once: every call copies the chart with its data
        background="transparent", font=FONT,
        padding={"left": 4, "right": 12, "top": 6, "bottom": 4},
        view={"stroke": None}, axis=axis,
        axisXQuantitative={"labelOverlap": "greedy", "labelSeparation": 4},
        legend={
            **letters, "labelFontSize": 13, "titleFontSize": 13, "labelColor": colours.ink,
            "titleColor": colours.ink, "symbolSize": 90, "orient": "bottom",
            "direction": "horizontal", "labelLimit": 240,
            "columns": alt.expr(f"width < {NARROW_PX} ? 2 : 3"),
        },
        header={**letters, "labelFontSize": 13, "labelColor": colours.ink,
                "titleColor": colours.ink},
        title={"font": FONT, "fontSize": 14, "fontWeight": 600, "color": colours.ink,
               "anchor": "start"},
    )


def outlined(
    base: Any, colours: Palette, width: float, *, colour: str | None = None,
    outline_opacity: float = 1.0, **style: Any,
) -> list[Any]:
    """Text layers of ``base``: the words, in ink if no colour is named, on an outline of paper
    so many px wide.
    """
    return [
        base.mark_text(stroke=colours.paper, strokeWidth=width, strokeJoin="round",
                       strokeOpacity=outline_opacity, **style),
        base.mark_text(color=colour or colours.ink, **style),
    ]


def shape_scale(names: list[str]) -> alt.Scale:
    """One shape a name, in order."""
    return alt.Scale(domain=names, range=[SHAPES[i % len(SHAPES)] for i in range(len(names))])


def colour_scale(names: list[str], colours: Palette) -> alt.Scale:
    """One colour a name, in order."""
    return alt.Scale(
        domain=names, range=[colours.series[i % len(colours.series)] for i in range(len(names))]
    )


def chart_of(rows: Sequence[Mapping[str, Any]]) -> Any:
    """A chart of tidy rows, still without marks."""
    return alt.Chart(alt.Data(values=list(rows)))  # type: ignore[no-untyped-call]
