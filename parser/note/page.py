"""The page of text: the strip of stations, what needs attention, then the note."""

from __future__ import annotations

from collections.abc import Sequence

from lexicon import Lexicon
from parser.debrief import debrief
from parser.record import Record


def write(record: Record, lexicon: Lexicon) -> str:
    """The whole page, lines of at most 88 characters."""
    return debrief(record, lexicon)


def bundle(pages: Sequence[str]) -> str:
    """Pages one after another."""
    return "\n\n".join(pages)
