"""Entries as CSV, one a line, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from lexicon import Lexicon
from parser.note.document import Style, clock
from parser.record import Entry, Record

COLUMNS = ("run", "region", "entry", "concept", "label", "kind", "status", "site", "side", "value", "unit",
           "qualifiers", "confirm", "superseded_by", "utterance", "time", "confidence", "words")
#: A cell that begins with one of these is taken for a formula by spreadsheets (OWASP, CSV injection; from memory).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|")


def write(record: Record, lexicon: Lexicon, style: Style) -> str:
    """All entries, superseded ones too, with a heading line; RFC 4180."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for region in record.regions:
        for entry in region.entries:
            writer.writerow([safe(cell) for cell in _cells(record, region.region, entry)])
    return out.getvalue()


def bundle(pages: Sequence[str]) -> str:
    """One table with one heading line."""
    first, *rest = pages
    return first + "".join(page.split("\n", 1)[1] for page in rest)


def safe(text: str) -> str:
    """The text with an apostrophe in front when a spreadsheet would compute it."""
    return "'" + text if text.startswith(_FORMULA) else text


def _cells(record: Record, region: str, entry: Entry) -> tuple[str, ...]:
    value, evidence = entry.value, entry.evidence
    return (record.run.id, region, entry.id, entry.concept, entry.label, entry.kind, entry.status, entry.site or "",
            entry.side or "", value.text if value else "", (value.unit or "") if value else "",
            "; ".join(entry.qualifiers), entry.confirm or "", entry.superseded_by or "", str(evidence.utterance),
            clock(evidence.start), f"{entry.confidence:g}", evidence.text)
