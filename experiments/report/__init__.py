"""The justification as a document: content first, then one renderer a format."""

from __future__ import annotations

from typing import TYPE_CHECKING

from experiments.dossier import Dossier, utc_now
from experiments.entries import EntryError

if TYPE_CHECKING:
    from experiments.progress import Progress

FORMATS = (".pdf", ".html", ".docx", ".xlsx")


def render(
    dossier: Dossier, suffix: str, date: str | None = None, progress: Progress | None = None
) -> bytes:
    """The report of a dossier as bytes of that format; apart from the date they repeat.

    Raises
    ------
    EntryError
        for an unknown format, or a dossier without results
    """
    if suffix not in FORMATS:
        raise EntryError(f"A report cannot be written as {suffix or 'that'!r}.",
                         f"Use one of: {', '.join(FORMATS)}.")
    from experiments.report.content import build

    document = build(dossier, date or utc_now(), progress)
    if suffix == ".pdf":
        from experiments.report.paper import render_pdf

        return render_pdf(document)
    if suffix == ".html":
        from experiments.report.web import render_html

        return render_html(document).encode()
    if suffix == ".docx":
        from experiments.report.word import render_docx

        return render_docx(document)
    from experiments.report.workbook import report_workbook

    return report_workbook(document)
