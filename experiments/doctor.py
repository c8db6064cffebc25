"""Is everything there that the program needs? One check a piece, each with a cure.

The checks do the real thing on a small scale (look up a property, simulate a run, set a
page, draw a figure, open the store) instead of looking for files.
"""

from __future__ import annotations

import re
import shutil
import sys
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Final

from packaging.requirements import Requirement

ROOM_NEEDED: Final = 200 * 1024**2
"""Bytes free beside the store; common practice, no source."""


@dataclass(frozen=True)
class Check:
    """One piece of the program: whether it works, what was seen, what to do if not."""

    name: str
    holds: bool
    seen: str
    cure: str = ""


def check_packages() -> Check:
    """Python and every required package are there in a version the program accepts."""
    wrong = []
    for text in metadata.requires("boilwright") or ():
        needed = Requirement(text)
        if needed.marker and not needed.marker.evaluate({"extra": ""}):
            continue
        try:
            found = metadata.version(needed.name)
        except metadata.PackageNotFoundError:
            wrong.append(f"{needed.name} is missing")
            continue
        if not needed.specifier.contains(found, prereleases=True):
            wrong.append(f"{needed.name} {found} is not {needed.specifier}")
    version = ".".join(map(str, sys.version_info[:3]))
    seen = f"Python {version}, boilwright {metadata.version('boilwright')}"
    return Check("packages", not wrong, "; ".join(wrong) or seen, "Install again: make app.")


def check_page_setting() -> Check:
    """A page with text in the report's fonts becomes a PDF."""
    import typst  # noqa: PLC0415 - heavy, and its absence is what is checked

    page = typst.compile(b"#set document(title: [Check])\nWater boils at 100 \xc2\xb0C.")
    holds = isinstance(page, bytes) and page.startswith(b"%PDF") and b"/FontFile" in page
    size = len(page) if isinstance(page, bytes) else 0
    return Check("report pages", holds, f"a PDF page of {size} bytes with its font inside")


def check_figures() -> Check:
    """A chart becomes vector graphics without a browser."""
    import altair  # noqa: PLC0415
    import vl_convert  # noqa: PLC0415

    values = altair.Data(values=[{"x": 1, "y": 2}, {"x": 2, "y": 3}])
    chart = altair.Chart(values).mark_line().encode(x="x:Q", y="y:Q")
    drawing = vl_convert.vegalite_to_svg(chart.to_dict())
    return Check("figures", "<path" in drawing, f"a drawing of {len(drawing)} characters")


def check_room(store: str) -> Check:
    """The disk that holds a SQLite store has room; a server's disk is its own affair."""
    matched = re.fullmatch(r"sqlite:///(.+)", store)
    if matched is None:
        return Check("room", True, "the store is not a file of this machine")
    folder = Path(matched[1]).absolute().parent
    while not folder.exists():
        folder = folder.parent
    free = shutil.disk_usage(folder).free
    cure = f"Free some of the disk that holds {folder}, or move the store."
    return Check("room", free >= ROOM_NEEDED, f"{free / 1024**3:.1f} GiB free", cure)
