"""A report as PDF: typeset by Typst, fonts embedded, tagged, the record attached as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime

import typst
import vl_convert

from experiments.report.blocks import (
    Block,
    Bullets,
    Figure,
    Paragraph,
    ReportContent,
    SignatureLines,
    TableBlock,
)

STANDARD = "a-3b"
PREAMBLE = """
#set document(title: {title}, author: "Boilwright",
  date: datetime(year: {y}, month: {m}, day: {d}))
#set text(font: "Libertinus Serif", size: 10pt, lang: "en")
#set page(paper: "a4", margin: (x: 22mm, top: 24mm, bottom: 22mm), numbering: "1 / 1",
  header: context {{ if counter(page).get().first() > 1 [
    #set text(8.5pt, fill: rgb("#5a6772"))
    {short} #h(1fr) dossier {ident}
    #line(length: 100%, stroke: 0.4pt + rgb("#b9c4cc")) ] }},
  footer: context {{ set text(8.5pt, fill: rgb("#5a6772"))
    [{date} #h(1fr) page #counter(page).display() of #counter(page).final().first()] }})
#set par(justify: true, leading: 0.62em)
#set heading(numbering: "1.1")
#show heading.where(level: 1): it => block(above: 1.5em, below: 0.8em,
  text(13pt, fill: rgb("#1f5f8b"), weight: "semibold", it))
#show figure.where(kind: table): set block(breakable: true)
#show figure.caption: set text(9pt, style: "italic")
#show figure.where(kind: table): set figure.caption(position: top)
#set table(stroke: none, inset: (x: 5pt, y: 3.2pt))
#let rule = table.hline(stroke: 0.6pt + rgb("#22303c"))
"""


def render_pdf(content: ReportContent) -> bytes:
    """The report; the same content gives the same bytes."""
    moment = datetime.fromisoformat(content.date)
    files: dict[str, bytes] = {}
    body = [_preamble(content, moment), _title(content)]
    for section in content.sections:
        body.append(f"= {_text(section.title)}\n")
        body += [_block(b, files) for b in section.blocks]
    body.append("#pagebreak()\n= Method sheet for the bench\n")
    body += [_block(b, files) for b in content.method_sheet]
    files["record.json"] = json.dumps(
        content.data, sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False
    ).encode()
    body.append('#pdf.attach("record.json", relationship: "data", mime-type: "application/json", '
                'description: "The record of this dossier, machine-readable")\n')
    files["main.typ"] = "\n".join(body).encode()
    stamp = datetime(moment.year, moment.month, moment.day, tzinfo=UTC)
    return compile_typst(files, int(stamp.timestamp()))


def compile_typst(files: dict[str, bytes], timestamp: int) -> bytes:
    """Typeset ``main.typ`` of virtual files; only the fonts that ship with Typst are used."""
    found = typst.compile(  # type: ignore[call-overload]
        {name.removesuffix(".typ") if name == "main.typ" else name: data
         for name, data in files.items()},
        format="pdf", pdf_standards=STANDARD, timestamp=timestamp, ignore_system_fonts=True,
    )
    if not isinstance(found, bytes):
        raise TypeError("the typesetter gave no bytes")
    return found


def _preamble(content: ReportContent, moment: datetime) -> str:
    short = content.title if len(content.title) < 70 else content.title[:67] + "..."
    return PREAMBLE.format(
        title=_string(content.title), y=moment.year, m=moment.month, d=moment.day,
        short=_text(short), ident=_text(content.dossier_id), date=_text(content.date[:10]),
    )


def _title(content: ReportContent) -> str:
    rows = "\n".join(
        f"[#text(fill: rgb(\"#5a6772\"))[{_text(k)}]], [{_text(v)}]," for k, v in content.summary
    )
    return (
        f'#text(20pt, weight: "semibold", fill: rgb("#22303c"))[{_text(content.title)}]\n\n'
        f'#text(11.5pt, fill: rgb("#5a6772"))[{_text(content.subtitle)}]\n\n'
        "#v(2mm)\n#block(fill: rgb(\"#f1f5f8\"), inset: 10pt, radius: 3pt, width: 100%)[\n"
        f"#set par(justify: false)\n#grid(columns: (34mm, 1fr), row-gutter: 7pt,\n{rows}\n)]\n"
    )


def _block(block: Block, files: dict[str, bytes]) -> str:
    match block:
        case Paragraph(text, "caution"):
            return ('#block(stroke: (left: 2.5pt + rgb("#b5651d")), inset: (left: 8pt, y: 3pt), '
                    f"width: 100%)[*Caution.* {_text(text)}]\n")
        case Paragraph(text, "strong"):
            return f"*{_text(text)}*\n"
        case Paragraph(text, "note"):
            return f'#text(9pt, fill: rgb("#5a6772"))[{_text(text)}]\n'
        case Paragraph(text, _):
            return f"{_text(text)}\n"
        case Bullets(items):
            return "\n".join(f"- {_text(i)}" for i in items) + "\n"
        case TableBlock():
            return _table(block)
        case Figure():
            return _figure(block, files)
        case SignatureLines(roles):
            return _signatures(roles)


def _table(block: TableBlock) -> str:
    width = len(block.header)
    align = (block.align or "l" * width).ljust(width, "l")
    names = {"l": "left", "r": "right", "c": "center"}
    header = ", ".join(f"[*{_text(h)}*]" for h in block.header)
    rows = "\n".join("  " + ", ".join(f"[{_text(c)}]" for c in row) + "," for row in block.rows)
    size = "8pt" if block.wide or width > 7 else "9pt"
    columns = ", ".join(
        "auto" if _is_short(block, i) else "1fr" for i in range(width)
    )
    return (
        f"#figure(caption: [{_text(block.caption)}], kind: table)[\n#set text({size})\n"
        "#set par(justify: false)\n"
        f"#table(columns: ({columns},), align: ({', '.join(names[a] for a in align)},),\n"
        f"  rule, table.header({header}), table.hline(stroke: 0.4pt),\n{rows}\n  rule)]\n"
    )


def _is_short(block: TableBlock, column: int) -> bool:
    longest = max([len(r[column]) for r in block.rows], default=0)
    return longest <= 26


def _figure(block: Figure, files: dict[str, bytes]) -> str:
    svg = vl_convert.vegalite_to_svg(json.dumps(block.spec))
    name = f"{block.name}.svg"
    files[name] = svg.encode()
    return (
        f"#figure(caption: [{_text(block.caption)}])[\n"
        f"#image({_string(name)}, width: 88%, alt: {_string(block.alt)})]\n"
    )


def _signatures(roles: Sequence[str]) -> str:
    cells = "\n".join(
        f"[{_text(r)}], [#v(9mm)#line(length: 100%, stroke: 0.5pt)\n#text(8pt)[name]], "
        "[#v(9mm)#line(length: 100%, stroke: 0.5pt)\n#text(8pt)[signature]], "
        "[#v(9mm)#line(length: 100%, stroke: 0.5pt)\n#text(8pt)[date]],"
        for r in roles
    )
    return (
        "#grid(columns: (30mm, 1fr, 1fr, 28mm), column-gutter: 6mm, row-gutter: 5mm, "
        f"align: bottom,\n{cells}\n)\n"
    )


SPECIAL = "\\#$*_`<>@[]~=-+/\"'"


def _text(text: str) -> str:
    """Text in Typst markup with nothing in it that Typst would act on."""
    return "".join(f"\\{c}" if c in SPECIAL else c for c in str(text)).replace("\n", " ")


def _string(text: str) -> str:
    """A Typst string literal."""
    escaped = str(text).replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    return f'"{escaped}"'
