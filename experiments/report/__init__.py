"""The justification as a document: content first, then one renderer a format."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from experiments.dossier import Dossier, utc_now
from experiments.entries import EntryError

if TYPE_CHECKING:
    from experiments.fitted import Progress

FORMATS = (".pdf", ".html")


def render(
    dossier: Dossier, suffix: str, date: str | None = None, progress: Progress | None = None
) -> bytes:
    """The report of a dossier as bytes of that format.

    Raises
    ------
    EntryError
        for an unknown format, or a dossier without results
    """
    if suffix not in FORMATS:
        raise EntryError(f"A report cannot be written as {suffix or 'that'!r}.",
                         f"Use one of: {', '.join(FORMATS)}.")
    from experiments.report.content import build

    content = build(dossier, date or utc_now(), progress)
    if suffix == ".html":
        from experiments.report.html import render_html

        return render_html(content).encode()
    from experiments.report.pdf import render_pdf

    return render_pdf(content)


def write_report(
    dossier: Dossier, path: Path, date: str | None = None, progress: Progress | None = None
) -> None:
    """Write the report; the ending of ``path`` chooses the format."""
    path.write_bytes(render(dossier, path.suffix.lower(), date, progress))
