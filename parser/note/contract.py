"""The record as JSON: one document on one line."""

from __future__ import annotations

from collections.abc import Sequence

from lexicon import Lexicon
from parser.note.document import Style
from parser.record import Record


def write(record: Record, lexicon: Lexicon, style: Style) -> str:
    """The contract on one line, ending with a line feed."""
    return record.model_dump_json() + "\n"


def bundle(pages: Sequence[str]) -> str:
    """JSON Lines, in order."""
    return "".join(pages)
