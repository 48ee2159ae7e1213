"""The written note: wording, and the formats that carry it.

``write(record, lexicon, format)`` makes one document, ``bundle`` joins several into one. Formats are
imported only when they are asked for, so that text stays instant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any

from lexicon import Lexicon
from parser.record import Record

if TYPE_CHECKING:
    from parser.note.document import Style

__all__ = ["FORMATS", "Format", "MissingLibrary", "bundle", "write"]


class MissingLibrary(Exception):
    """A format was asked for whose library is not installed."""

    def __init__(self, format_: str, library: str) -> None:
        super().__init__(f"The format {format_} needs {library}, which is not installed. "
                         "Install the documents extra: pip install 'crownsole[documents]'")


@dataclass(frozen=True, slots=True)
class Format:
    """A format: what it is in one line, whether it is text or bytes, and the module that writes it."""

    meaning: str
    text: bool
    module: str


FORMATS: dict[str, Format] = {
    "text": Format("a page of text: stations, what needs attention, the note", True, "parser.note.page"),
    "markdown": Format("the note as Markdown", True, "parser.note.markdown"),
    "html": Format("the note as one self-contained page for a browser or a printer", True, "parser.note.web"),
    "csv": Format("every entry on a line, for a spreadsheet", True, "parser.note.table"),
    "docx": Format("a Word document; --template takes its styles from a file of yours", False, "parser.note.word"),
    "pdf": Format("a tagged PDF with drawings", False, "parser.note.pdf"),
    "fhir": Format("an HL7 FHIR R4 document bundle as JSON, status preliminary", True, "parser.note.fhir"),
    "json": Format("the record, crownsole-record/1; several files give JSON Lines", True, "parser.note.contract"),
}


def write(record: Record, lexicon: Lexicon, format_: str = "text", style: Style | None = None) -> str | bytes:
    """One record as a document.

    Raises KeyError for a format that is not in :data:`FORMATS`, and :class:`MissingLibrary` when the
    format needs a library that is not installed.
    """
    from parser.note.document import Style

    made: str | bytes = _module(format_).write(record, lexicon, style or Style())
    return made


def _module(format_: str) -> Any:
    try:
        return import_module(FORMATS[format_].module)
    except ModuleNotFoundError as error:
        raise MissingLibrary(format_, error.name or "a library") from None


def bundle(pages: Sequence[str | bytes], format_: str) -> str | bytes:
    """Several documents of one format as one file. Raises ValueError when the format cannot hold several."""
    if len(pages) == 1:
        return pages[0]
    join = getattr(_module(format_), "bundle", None)
    if join is None:
        raise ValueError(f"{format_} holds one run; name one file, or write each to a file of its own")
    joined: str | bytes = join(pages)
    return joined
