"""One page that stands by itself: what a round of the job found, with its charts and papers. No script, no outside address."""

from __future__ import annotations

from base64 import b64encode
from html import escape
from importlib.resources import files

import msgspec


class PagePart(msgspec.Struct, frozen=True, kw_only=True):
    """A heading, sentences, a chart (SVG) with its text alternative, a table, and papers to open."""

    head: str
    says: tuple[str, ...] = ()
    svg: str = ""
    alt: str = ""
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    papers: tuple[tuple[str, str], ...] = ()


_STYLE = """
@font-face{font-family:"Atkinson Hyperlegible Next";src:url(data:font/ttf;base64,%REGULAR%);font-weight:400}
@font-face{font-family:"Atkinson Hyperlegible Next";src:url(data:font/ttf;base64,%BOLD%);font-weight:700}
:root{--paper:#FBFAF7;--ink:#1D2430;--quiet:#56606E;--line:#D9D6CE;--dye:#1F5D6B}
@media (prefers-color-scheme:dark){:root{--paper:#14181E;--ink:#ECEAE4;--quiet:#A7B0BA;--line:#2D343D;--dye:#8CC7D1}
 figure{background:#FBFAF7;border-radius:6px;padding:12px}}
body{background:var(--paper);color:var(--ink);font:16px/1.5 "Atkinson Hyperlegible Next",sans-serif;margin:0 auto;padding:24px 16px 64px;max-width:760px}
h1{font-size:40px;line-height:1.2;margin:0 0 4px}h2{font-size:28px;line-height:1.2;margin:48px 0 12px}p{max-width:70ch;margin:8px 0;overflow-wrap:anywhere}
.quiet{color:var(--quiet)}a{color:var(--dye)}a:focus-visible{outline:3px solid var(--dye);outline-offset:2px}
figure{margin:16px 0;overflow-x:auto}svg{max-width:100%;height:auto}
.wide{overflow-x:auto}table{border-collapse:collapse;font-variant-numeric:tabular-nums lining-nums;width:100%}
th,td{padding:4px 12px 4px 0;text-align:right;vertical-align:top}th:first-child,td:first-child{text-align:left}thead th{border-bottom:1px solid var(--line)}
ul{padding-left:20px}@media print{body{background:#fff;color:#000}}
"""


def _font(name: str) -> str:
    return b64encode((files("drybank.cards") / "fonts" / name).read_bytes()).decode()


def _table(part: PagePart) -> str:
    if not part.rows:
        return ""
    head = "".join(f"<th scope=col>{escape(h)}</th>" for h in part.heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>" for row in part.rows)
    return f"<div class=wide tabindex=0><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"


def _part(part: PagePart) -> str:
    says = "".join(f"<p>{escape(s)}</p>" for s in part.says)
    chart = f'<figure role=img aria-label="{escape(part.alt)}">{part.svg}</figure>' if part.svg else ""
    papers = "".join(f'<li><a href="{escape(path)}">{escape(words)}</a></li>' for path, words in part.papers)
    return f"<section><h2>{escape(part.head)}</h2>{says}{chart}{_table(part)}{f'<ul>{papers}</ul>' if papers else ''}</section>"


def summary_page(title: str, under: str, parts: tuple[PagePart, ...], *, language: str = "en") -> str:
    """The page as HTML text, typeface inside. SVG is ours; every other text is escaped."""
    style = _STYLE.replace("%REGULAR%", _font("AtkinsonHyperlegibleNext-400.ttf")).replace(
        "%BOLD%", _font("AtkinsonHyperlegibleNext-700.ttf")
    )
    return (
        f'<!doctype html><html lang={language}><meta charset=utf-8><meta name=viewport content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style><main><h1>{escape(title)}</h1><p class=quiet>{escape(under)}</p>"
        + "".join(_part(p) for p in parts)
        + "</main></html>"
    )
