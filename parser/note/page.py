"""The page of text: the strip of stations, what needs attention, then the note."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from lexicon import Lexicon
from parser.debrief import WIDTH, debrief
from parser.note.document import Document, Style, document
from parser.note.grammar import grammar_of
from parser.note.narrative import Paragraph
from parser.record import Record


def write(record: Record, lexicon: Lexicon, style: Style) -> str:
    """The whole page, lines of at most 88 characters."""
    note = document(record, lexicon, style)
    return debrief(record, lexicon, "\n".join(lines(note, grammar_of(lexicon).templates["confirm"])))


def bundle(pages: Sequence[str]) -> str:
    """Pages one after another."""
    return "\n\n".join(pages)


def lines(note: Document, mark: str) -> Iterator[str]:
    """The note without the debrief around it."""
    yield note.heading.upper()
    if not note.paragraphs:
        yield "Nothing to write."
    for paragraph in note.paragraphs:
        yield ""
        yield paragraph.title
        yield from _paragraph(paragraph, note, mark)
    yield from _block("NORMS OF THIS NOTE BY EXCEPTION", [f"{title}: {norm}" for title, norm in note.norms])
    yield from _block("CORRECTIONS", note.trail)
    yield from _block("NOT DOCUMENTED", [note.not_documented] if note.not_documented else [])
    yield ""
    yield from wrap(note.cautions[0], WIDTH)


def _paragraph(paragraph: Paragraph, note: Document, mark: str) -> Iterator[str]:
    if not note.trace:
        text = " ".join(shown for each in paragraph.sentences if (shown := each.shown(mark)))
        yield from wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")
        return
    for each in paragraph.sentences:
        yield from wrap(each.shown(mark), WIDTH, initial_indent="  ", subsequent_indent="  ")
        for entry in each.entries:
            words = note.evidence.get(entry, entry)
            yield from wrap(words, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 8)


def _block(title: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield ""
        yield title
    for item in items:
        yield from wrap(item, WIDTH, initial_indent="  ", subsequent_indent="    ")
