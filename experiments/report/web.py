"""A document as one self-contained HTML page: no script, no outside file, all text escaped."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable
from html import escape

from experiments.report.document import (
    Attachment,
    Blank,
    Block,
    Bullets,
    Cell,
    Column,
    Document,
    Facts,
    Figure,
    Notice,
    Paragraph,
    Section,
    Signature,
    Table,
)
from experiments.report.look import FONT, FONTS, svg
from experiments.wording import unbroken

SIGNS = {"answer": "✓", "caution": "!", "stop": "■", "info": "i"}
STYLE = """
:root{--ink:#1c2830;--muted:#56626a;--line:#c9cfd0;--main:#0e6c78;--paper:#fff;--pale:#f1f2f2;
--answer:#e6f0f0;--caution:#faf0e0;--stop:#f6e9f0;--caution-ink:#7d4908;--stop-ink:#7a2f56}
@media(prefers-color-scheme:dark){:root{--ink:#ece7db;--muted:#b3bcc0;--line:#3b4a50;
--main:#8ad3da;--paper:#11191d;--pale:#1b262b;--answer:#17333a;--caution:#35281a;--stop:#36202c;
--caution-ink:#f0c48c;--stop-ink:#ebb6d0}}
*{box-sizing:border-box}
body{font:16px/1.5 "Atkinson Hyperlegible Next",system-ui,sans-serif;
font-variant-numeric:tabular-nums;color:var(--ink);background:var(--paper);
max-width:54rem;margin:2rem auto;padding:0 1rem;
overflow-wrap:anywhere}
h1{font-size:1.9rem;line-height:1.2;margin:.2rem 0}h2{color:var(--main);font-size:1.35rem;
margin:2.4rem 0 .8rem}a{color:var(--main)}.kind{color:var(--main);font-weight:600;margin:0}
.sub,.note,figcaption,caption{color:var(--muted)}.note,figcaption,caption{font-size:.88rem}
header{border-bottom:2px solid var(--main);padding-bottom:.8rem}
dl{display:grid;grid-template-columns:11rem 1fr;gap:.3rem 1rem}dt{color:var(--muted)}dd{margin:0}
nav ol{columns:2;column-gap:2rem}.scroll{overflow-x:auto}
table{border-collapse:collapse;font-size:.9rem;width:100%;overflow-wrap:break-word}
caption{text-align:left;padding:.3rem 0}
th,td{padding:.25rem .5rem;text-align:left;border-bottom:1px solid var(--line);
vertical-align:top}thead th{border-top:2px solid var(--ink);border-bottom:1px solid var(--ink)}
.right{text-align:right}.centre{text-align:center}.small{font-size:.8rem}.large{font-size:1.2rem}
figure{margin:1.4rem 0}figure svg{max-width:100%;height:auto;background:#fff}
.box{border-left:4px solid var(--main);background:var(--answer);padding:.7rem 1rem;margin:1rem 0}
.box p{margin:.2rem 0}.caution{background:var(--caution);border-color:var(--caution-ink)}
.stop{background:var(--stop);border-color:var(--stop-ink)}.info{background:var(--pale)}
.line{display:flex;gap:1rem;align-items:flex-end;margin:1rem 0}
.line i{flex:1;border-bottom:1px solid var(--muted);min-height:1.6rem;font-style:normal}
@media(max-width:40rem){dl{grid-template-columns:1fr}nav ol{columns:1}}
@media print{body{font-size:10.5pt;max-width:none}h2{break-after:avoid}figure{break-inside:avoid}}
"""


def render_html(document: Document) -> str:
    """The page."""
    font = base64.b64encode((FONTS / "AtkinsonHyperlegibleNext-Regular.ttf").read_bytes())
    face = f'@font-face{{font-family:"{FONT}";src:url(data:font/ttf;base64,{font.decode()})}}'
    body = [
        f'<header><p class="kind">{_text(document.kind)}</p><h1>{_text(document.title)}</h1>'
        f'<p class="sub">{_text(document.subtitle)}</p></header>', _facts(document.facts),
    ]
    if document.has_contents:
        items = "".join(f'<li><a href="#{escape(s.key)}">{_text(s.title)}</a></li>'
                        for s in document.sections)
        body.append(f'<nav aria-label="Contents"><ol>{items}</ol></nav>')
    body += [_section(i, s) for i, s in enumerate(document.sections, start=1)]
    body += [_attached(a) for a in document.attachments]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(document.title)}</title><style>{face}{STYLE}</style></head>"
        f'<body><main>{"".join(body)}</main><footer class="note">{_text(document.foot)}</footer>'
        "</body></html>"
    )


def _text(text: str) -> str:
    """Text of the page: nothing in it is markup, and numbers keep their units."""
    return escape(unbroken(text))


def _section(number: int, section: Section) -> str:
    blocks = "".join(
        _block(b, f"{section.key}-{i}", section.key == "record")
        for i, b in enumerate(section.blocks)
    )
    return (f'<section id="{escape(section.key)}"><h2>{number} {_text(section.title)}</h2>'
            f"{blocks}</section>")


def _block(block: Block, key: str, is_history: bool) -> str:
    match block:
        case Paragraph():
            links = "".join(f' <a href="#record-{r}">record {r}</a>' for r in block.records)
            text = _text(block.text)
            return f"<p>{f'<strong>{text}</strong>' if block.strong else text}{links}</p>"
        case Bullets():
            kind = "ol" if block.numbered else "ul"
            items = "".join(f"<li>{_text(i)}</li>" for i in block.items)
            return f"<{kind}>{items}</{kind}>"
        case Facts():
            return _facts(block.rows)
        case Table():
            return _table(block, is_history)
        case Figure():
            return (f'<figure><div role="img" aria-label="{escape(block.description)}">'
                    f"{_own_ids(svg(block.chart), key)}</div>"
                    f"<figcaption>{_text(block.title)}</figcaption></figure>")
        case Notice():
            return (f'<div class="box {block.kind}" role="note"><p><strong>{SIGNS[block.kind]} '
                    f"{_text(block.title)}</strong></p><p>{_text(block.text)}</p></div>")
        case Signature():
            return (f'<div class="line"><strong>{_text(block.role)}</strong>'
                    f"<i>{_text(block.name)}</i><span>signature</span><i></i><span>date</span>"
                    f'<i></i></div><p class="note">{_text(block.meaning)}</p>')
        case Blank():
            return (f'<div class="line"><span>{_text(block.label)}</span><i></i>'
                    f"<span>{_text(block.unit)}</span></div>")


def _facts(rows: Iterable[tuple[str, str]]) -> str:
    inner = "".join(f"<dt>{_text(k)}</dt><dd>{_text(v)}</dd>" for k, v in rows)
    return f"<dl>{inner}</dl>"


def _table(block: Table, is_history: bool) -> str:
    head = "".join(f'<th scope="col" class="{c.align}">{_text(c.title)}</th>'
                   for c in block.columns)
    rows = "".join(
        "<tr>" + "".join(_cell(c, column, is_history)
                         for c, column in zip(row, block.columns, strict=True)) + "</tr>"
        for row in block.rows
    )
    note = f'<p class="note">{_text(block.note)}</p>' if block.note else ""
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(block.title)}">'
        f'<table class="{block.size}"><caption>{_text(block.title)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>{note}"
    )


def _cell(cell: Cell, column: Column, is_history: bool) -> str:
    text = f"<strong>{_text(cell.text)}</strong>" if cell.strong else _text(cell.text)
    if cell.record is None:
        return f'<td class="{column.align}">{text}</td>'
    if is_history:
        return f'<td class="{column.align}" id="record-{cell.record}">{text}</td>'
    link = f' <a href="#record-{cell.record}"><small>{cell.record}</small></a>'
    return f'<td class="{column.align}">{text}{link}</td>'


def _own_ids(drawn: str, key: str) -> str:
    """Clip paths get names of their own, or the first picture's would clip them all."""
    drawn = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', drawn)
    return re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", drawn)


def _attached(file: Attachment) -> str:
    data = base64.b64encode(file.data).decode()
    return (f'<p><a download="{escape(file.name)}" href="data:{file.mime_type};base64,{data}">'
            f"{_text(file.name)}</a> <span class=\"note\">{_text(file.description)}</span></p>")
