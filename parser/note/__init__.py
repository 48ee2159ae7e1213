"""The written note: wording, and the formats that carry it.

``write(record, lexicon, format)`` makes one document, ``bundle`` joins several into one. Formats are
imported only when they are asked for, so that text stays instant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module

from lexicon import Lexicon
from parser.record import Record

__all__ = ["FORMATS", "Format", "bundle", "write"]


@dataclass(frozen=True, slots=True)
class Format:
    """A format: what it is in one line, whether it is text or bytes, and the module that writes it."""

    meaning: str
    text: bool
    module: str


FORMATS: dict[str, Format] = {
    "text": Format("a page of text: stations, what needs attention, the note", True, "parser.note.page"),
    "json": Format("the record, crownsole-record/1; several files give JSON Lines", True, "parser.note.contract"),
}


def write(record: Record, lexicon: Lexicon, format_: str = "text") -> str | bytes:
    """One record as a document. Raises KeyError for a format that is not in :data:`FORMATS`."""
    made: str | bytes = import_module(FORMATS[format_].module).write(record, lexicon)
    return made


def bundle(pages: Sequence[str | bytes], format_: str) -> str | bytes:
    """Several documents of one format as one file. Raises ValueError when the format cannot hold several."""
    if len(pages) == 1:
        return pages[0]
    join = getattr(import_module(FORMATS[format_].module), "bundle", None)
    if join is None:
        raise ValueError(f"{format_} holds one run; name one file, or write each to a file of its own")
    joined: str | bytes = join(pages)
    return joined
