"""The note as Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from lexicon import Lexicon
from parser.conversion import shown
from parser.note.document import Document, Style, document
from parser.note.grammar import grammar_of
from parser.record import Record

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>|#])")
_SIGNS = {"documented": "[x]", "partial": "[ ] (partly)", "missing": "[ ] (not documented)"}


def write(record: Record, lexicon: Lexicon, style: Style) -> str:
    """A document in CommonMark with tables."""
    note = document(record, lexicon, style)
    return "\n".join(_lines(note, grammar_of(lexicon).templates["confirm"])) + "\n"


def bundle(pages: Sequence[str]) -> str:
    """Documents with a rule between them."""
    return "\n---\n\n".join(pages)


def plain(text: str) -> str:
    """Text in which nothing is taken for markup."""
    return _SPECIAL.sub(r"\\\1", text)


def _lines(note: Document, mark: str) -> Iterator[str]:
    yield f"# {plain(note.title)}"
    yield ""
    yield " · ".join(f"{name}: {plain(value)}" for name, value in note.facts)
    yield from ("", f"**{plain(note.cautions[0])}**", "", "## Stations, crown to sole", "")
    for station in note.strip:
        more = f" {plain('; '.join(station.missing))}" if station.missing else ""
        yield f"- {_SIGNS[station.coverage]} {plain(station.title)}{more}"
    yield from ("", "## What needs attention", "")
    for number, remark in enumerate(note.remarks, 1):
        say = f" Next time: {plain(remark.say)}" if remark.say else ""
        yield f"{number}. *{remark.severity}* {plain(remark.message)}{say} ({plain(remark.source)})"
    yield from ("", f"## {plain(note.heading)}", "")
    for paragraph in note.paragraphs:
        yield from (f"### {plain(paragraph.title)}", "")
        yield " ".join(plain(text) for each in paragraph.sentences if (text := each.shown(mark)))
        yield from _traced(note, [e for each in paragraph.sentences for e in each.entries])
        yield ""
    yield from _tables(note)
    yield from _list("Norms of this note by exception", [f"{title}: {norm}" for title, norm in note.norms])
    yield from _list("Corrections", note.trail)
    yield from _list("Not documented", [note.not_documented] if note.not_documented else [])
    yield from _list("Sources", note.sources)
    yield f"*{plain(note.cautions[1])}*"


def _traced(note: Document, entries: Sequence[str]) -> Iterator[str]:
    if note.trace and entries:
        yield ""
    for entry in dict.fromkeys(entries) if note.trace else ():
        yield f"- {plain(note.evidence.get(entry, entry))}"


def _tables(note: Document) -> Iterator[str]:
    if note.rows:
        yield from ("## Vital signs and scales", "", "| what | value | also | how | time |", "|---|---|---|---|---|")
        for row in note.rows:
            yield "| " + " | ".join(plain(cell) for cell in (row.name, row.value, row.also, row.how, row.time)) + " |"
        yield ""
    if note.computed:
        yield from ("## Computed", "", "| what | value | formula | source |", "|---|---|---|---|")
        for each in note.computed:
            value = shown(each.value or 0, each.unit)
            yield "| " + " | ".join(plain(cell) for cell in (each.label, value, each.formula, each.source)) + " |"
        yield ""


def _list(title: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield from (f"## {title}", "")
        yield from (f"- {plain(item)}" for item in items)
        yield ""
