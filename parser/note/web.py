"""The note as one self-contained page of HTML: no script, nothing fetched, every sentence anchored."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from itertools import chain

from lexicon import Lexicon
from parser.conversion import shown
from parser.note.document import Document, Style, document
from parser.note.drawings import gauges, gauges_svg, strip_svg
from parser.note.grammar import grammar_of
from parser.note.narrative import Paragraph, Sentence
from parser.record import Record, Remark

#: Remarks in view; the others are folded away.
_FIRST = 7
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_STYLE = """
:root{color-scheme:light dark;--ink:#222;--paper:#fff;--soft:#f4f3ef;--line:#d5d2c8;--accent:#2f6f62;--warn:#9a3412}
@media(prefers-color-scheme:dark){:root{--ink:#e8e6e1;--paper:#1b1c1d;--soft:#26282a;--line:#44474a;--accent:#7fc4b3;
--warn:#f0a585}.drawing{background:#fff;border-radius:6px;padding:8px}}
*{box-sizing:border-box}body{margin:0 auto;max-width:46rem;padding:2rem 1.25rem 4rem;font:1.05rem/1.6 Georgia,serif;
color:var(--ink);background:var(--paper);overflow-wrap:anywhere}
h1{font-size:1.6rem;line-height:1.25;margin:0 0 .25rem}h2{font-size:1.2rem;margin:2.2rem 0 .6rem;
border-bottom:1px solid var(--line);padding-bottom:.2rem}h3{font-size:1rem;margin:1.1rem 0 .1rem}p{margin:.2rem 0 .7rem}
.run{color:inherit;opacity:.8;font-size:.9rem}.sim{border:2px solid var(--warn);color:var(--warn);padding:.35rem .7rem;
font-weight:bold;display:inline-block;margin:.6rem 0}.drawing{overflow-x:auto}.drawing svg{max-width:100%;height:auto}
ol.stations{columns:2;column-gap:2.2rem;
padding-left:1.6rem;font-size:.9rem;margin:.6rem 0}@media(max-width:30rem){ol.stations{columns:1}}
.mark{background:#fde68a;color:#222;padding:0 .2em;border-radius:3px}ol.remarks li{margin:.5rem 0}
.severity{font-variant:small-caps;font-weight:bold;color:var(--warn)}.say,.source,ul.trace{font-size:.88rem;opacity:.85}
.scroll{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.95rem}th,td{text-align:left;vertical-align:top;
padding:.3rem .6rem .3rem 0;border-bottom:1px solid var(--line)}footer{margin-top:2.5rem;font-size:.88rem;
border-top:1px solid var(--line);padding-top:.8rem}@media print{body{max-width:none;padding:0;font-size:10.5pt}
h2,h3{break-after:avoid}tr,li{break-inside:avoid}}
"""


def write(record: Record, lexicon: Lexicon, style: Style) -> str:
    """A whole page."""
    note = document(record, lexicon, style)
    mark = grammar_of(lexicon).templates["confirm"]
    parts = (_head(note), _remarks(note), _note(note, mark), _values(note, record, lexicon),
             _list("Sources", note.sources), _end(note))
    body = "\n".join(chain.from_iterable(parts))
    return (f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f"<title>{escape(note.title)}</title>\n"
            f"<style>{_STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n")


def _head(note: Document) -> Iterator[str]:
    facts = " · ".join(f"{escape(name)}: <bdi>{escape(value)}</bdi>" for name, value in note.facts)
    yield f'<header><h1>{escape(note.title)}</h1><p class="run">{facts}</p>'
    yield f'<p class="sim">{escape(note.cautions[0])}</p></header><main>'
    yield "<h2>Stations, crown to sole</h2>"
    yield f'<div class="drawing">{strip_svg(note.strip)}</div><ol class="stations">'
    words = {"documented": "documented", "partial": "partly", "missing": "not documented"}
    for station in note.strip:
        rest = escape("; ".join(station.missing))
        more = f"; not heard: {rest}" if station.coverage == "partial" and station.missing else ""
        yield f"<li><b>{escape(station.title)}</b>, {words[station.coverage]}{more}</li>"
    yield "</ol>"


def _remarks(note: Document) -> Iterator[str]:
    yield "<h2>What needs attention</h2>"
    if not note.remarks:
        yield "<p>Nothing to remark.</p>"
        return
    yield from _numbered(note.remarks[:_FIRST], 1)
    if len(note.remarks) > _FIRST:
        yield f"<details><summary>All {len(note.remarks) - _FIRST} other remarks</summary>"
        yield from _numbered(note.remarks[_FIRST:], _FIRST + 1)
        yield "</details>"


def _numbered(remarks: Sequence[Remark], start: int) -> Iterator[str]:
    yield f'<ol class="remarks" start="{start}">'
    for remark in remarks:
        say = f'<br><span class="say">Next time: {escape(remark.say)}</span>' if remark.say else ""
        yield (f'<li><span class="severity">{remark.severity}</span> {escape(remark.message)}{say}'
               f'<br><span class="source">{escape(remark.source)}</span></li>')
    yield "</ol>"


def _note(note: Document, mark: str) -> Iterator[str]:
    yield f"<h2>{escape(note.heading)}</h2>"
    for paragraph in note.paragraphs:
        yield f"<h3>{escape(paragraph.title)}</h3>"
        yield from _paragraph(paragraph, note, mark)
    yield from _list("Norms of this note by exception", [f"{title}: {norm}" for title, norm in note.norms])
    yield from _list("Corrections", note.trail)
    yield from _list("Not documented", [note.not_documented] if note.not_documented else [])


def _paragraph(paragraph: Paragraph, note: Document, mark: str) -> Iterator[str]:
    yield "<p>" + " ".join(_sentence(each, note, mark) for each in paragraph.sentences if each.text) + "</p>"
    entries = dict.fromkeys(e for each in paragraph.sentences for e in each.entries)
    if note.trace and entries:
        items = "".join(f"<li>{escape(note.evidence.get(entry, entry))}</li>" for entry in entries)
        yield f'<ul class="trace">{items}</ul>'


def _sentence(each: Sentence, note: Document, mark: str) -> str:
    words = "\n".join(note.evidence.get(entry, entry) for entry in each.entries)
    anchor = f' data-entries="{escape(" ".join(each.entries))}" title="{escape(words)}"' if each.entries else ""
    marks = "".join(f' <span class="mark">{escape(mark.format_map({"reason": r}))}</span>' for r in each.confirm)
    return f"<span{anchor}>{escape(each.text)}</span>{marks}"


def _values(note: Document, record: Record, lexicon: Lexicon) -> Iterator[str]:
    if note.rows:
        yield "<h2>Vital signs and scales</h2>"
        drawing = gauges_svg(gauges(record, lexicon))
        if drawing:
            yield f'<div class="drawing">{drawing}</div>'
        yield from _table(("What", "Value", "Also", "How", "Time"),
                          ((row.name, row.value, row.also, row.how, row.time) for row in note.rows))
    if note.computed:
        yield "<h2>Computed</h2>"
        yield from _table(("What", "Value", "Formula", "Source"),
                          ((c.label, shown(c.value or 0, c.unit), c.formula, c.source) for c in note.computed))


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    head = "".join(f'<th scope="col">{each}</th>' for each in heads)
    yield f'<div class="scroll"><table><thead><tr>{head}</tr></thead><tbody>'
    for row in rows:
        yield "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>"
    yield "</tbody></table></div>"


def _list(title: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield f"<h2>{title}</h2><ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"


def _end(note: Document) -> Iterator[str]:
    yield "</main><footer>" + "".join(f"<p>{escape(text)}</p>" for text in note.cautions) + "</footer>"
