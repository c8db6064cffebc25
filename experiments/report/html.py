"""A report as one self-contained HTML page: no script, no outside file."""

from __future__ import annotations

import json
from html import escape

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

STYLE = """
:root{color-scheme:light dark;--ink:#22303c;--soft:#5a6772;--main:#1f5f8b;--pale:#f1f5f8;
--line:#cfd8de;--paper:#fff;--warn:#b5651d}
@media(prefers-color-scheme:dark){:root{--ink:#e4ebf0;--soft:#a9b6bf;--main:#8fc1e3;
--pale:#1d2830;--line:#3b4a55;--paper:#131a1f;--warn:#e0a066}}
body{font:17px/1.55 Georgia,'Times New Roman',serif;color:var(--ink);background:var(--paper);
max-width:52rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.9rem;margin-bottom:.2rem}h2{color:var(--main);margin-top:2.2rem;
font-size:1.35rem}.sub,.note{color:var(--soft)}.note{font-size:.9rem}
dl{background:var(--pale);padding:1rem;display:grid;grid-template-columns:11rem 1fr;gap:.4rem 1rem}
dt{color:var(--soft)}dd{margin:0}.scroll{overflow-x:auto}
table{border-collapse:collapse;font-size:.9rem;margin:.4rem 0;min-width:60%}
th,td{padding:.25rem .6rem;text-align:left;border-bottom:1px solid var(--line);vertical-align:top}
th{border-bottom:2px solid var(--ink)}.r{text-align:right}.c{text-align:center}
figure{margin:1.4rem 0}figcaption,caption{font-style:italic;color:var(--soft);font-size:.92rem;
text-align:left}figure svg{max-width:100%;height:auto;background:#fff;padding:.4rem}
.caution{border-left:4px solid var(--warn);padding:.2rem .8rem}
.sign td{height:3.2rem;min-width:9rem}@media(max-width:40rem){dl{grid-template-columns:1fr}}
@media print{body{font-size:11pt}}
"""


def render_html(content: ReportContent) -> str:
    """The page; every text of a user is escaped."""
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width,initial-scale=1">',
        f"<title>{escape(content.title)}</title><style>{STYLE}</style></head><body><main>",
        f'<h1>{escape(content.title)}</h1><p class="sub">{escape(content.subtitle)}</p><dl>',
        *(f"<dt>{escape(k)}</dt><dd>{escape(v)}</dd>" for k, v in content.summary),
        "</dl><nav><ol>",
        *(f'<li><a href="#s{i}">{escape(s.title)}</a></li>'
          for i, s in enumerate(content.sections, 1)),
        "</ol></nav>",
    ]
    for i, section in enumerate(content.sections, 1):
        parts.append(f'<section id="s{i}"><h2>{i} {escape(section.title)}</h2>')
        parts += [_block(b) for b in section.blocks]
        parts.append("</section>")
    parts.append("<section><h2>Method sheet for the bench</h2>")
    parts += [_block(b) for b in content.method_sheet]
    record = json.dumps(content.data, sort_keys=True, ensure_ascii=False, allow_nan=False)
    parts += [
        "</section><details><summary>Record, machine-readable</summary><pre>",
        escape(json.dumps(json.loads(record), indent=1, ensure_ascii=False)),
        f'</pre></details><p class="note">{escape(content.date[:10])}, dossier '
        f"{escape(content.dossier_id)}</p></main></body></html>",
    ]
    return "".join(parts)


def _block(block: Block) -> str:
    match block:
        case Paragraph(text, "caution"):
            return f'<p class="caution"><strong>Caution.</strong> {escape(text)}</p>'
        case Paragraph(text, "strong"):
            return f"<p><strong>{escape(text)}</strong></p>"
        case Paragraph(text, kind):
            return f'<p class="{escape(kind)}">{escape(text)}</p>'
        case Bullets(items):
            return "<ul>" + "".join(f"<li>{escape(i)}</li>" for i in items) + "</ul>"
        case TableBlock():
            return _table(block)
        case Figure():
            svg = vl_convert.vegalite_to_svg(json.dumps(block.spec))
            return (f'<figure><div role="img" aria-label="{escape(block.alt)}">{svg}</div>'
                    f"<figcaption>{escape(block.caption)}</figcaption></figure>")
        case SignatureLines(roles):
            rows = "".join(f"<tr><th scope='row'>{escape(r)}</th><td></td><td></td><td></td></tr>"
                           for r in roles)
            return ('<table class="sign"><thead><tr><th></th><th>name</th><th>signature</th>'
                    f"<th>date</th></tr></thead><tbody>{rows}</tbody></table>")


def _table(block: TableBlock) -> str:
    align = (block.align or "").ljust(len(block.header), "l")
    head = "".join(f'<th scope="col" class="{a}">{escape(h)}</th>'
                   for a, h in zip(align, block.header, strict=False))
    rows = "".join(
        "<tr>" + "".join(f'<td class="{a}">{escape(c)}</td>'
                         for a, c in zip(align, row, strict=False)) + "</tr>"
        for row in block.rows
    )
    return (f'<div class="scroll" tabindex="0"><table><caption>{escape(block.caption)}</caption>'
            f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>")
