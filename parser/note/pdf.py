"""The note as a tagged PDF (PDF/UA-1), set by typst with embedded fonts; data never becomes markup."""

from __future__ import annotations

import json
from typing import Any

import typst

from lexicon import Lexicon
from parser.conversion import shown
from parser.note.document import Document, Style, document
from parser.note.drawings import gauges, gauges_alt, gauges_svg, strip_alt, strip_svg
from parser.note.grammar import grammar_of
from parser.note.pdf_template import TEMPLATE
from parser.record import Record

_FONT = "Libertinus Serif"
_MARKS = {"documented": "documented", "partial": "partly", "missing": "not documented"}


def write(record: Record, lexicon: Lexicon, style: Style) -> bytes:
    """The PDF. The same record gives the same bytes. Raises RuntimeError when typst refuses the document."""
    data = json.dumps(_data(record, lexicon, style), ensure_ascii=False)
    made = typst.compile(TEMPLATE.encode(), format="pdf", sys_inputs={"data": data}, pdf_standards=["ua-1"])
    if not isinstance(made, bytes):
        raise RuntimeError("typst gave no document")
    return made


def _data(record: Record, lexicon: Lexicon, style: Style) -> dict[str, Any]:
    note = document(record, lexicon, style)
    found = gauges(record, lexicon)
    return {
        "title": note.title, "paper": style.paper, "run": note.run,
        "facts": " · ".join(f"{name}: {value}" for name, value in note.facts),
        "cautions": list(note.cautions),
        "strip": strip_svg(note.strip, font=_FONT), "strip_alt": strip_alt(note.strip),
        "stations": [{"title": s.title, "coverage": _MARKS[s.coverage],
                      "missing": "; ".join(s.missing) if s.coverage == "partial" else ""} for s in note.strip],
        "heading": note.heading, "paragraphs": _paragraphs(note, grammar_of(lexicon).templates["confirm"]),
        "gauges": gauges_svg(found, font=_FONT), "gauges_alt": gauges_alt(found),
        "rows": [[r.name, r.value, r.also, r.how, r.time] for r in note.rows],
        "computed": [[c.label, shown(c.value or 0, c.unit), c.formula, c.source] for c in note.computed],
        "remarks": [{"severity": r.severity, "message": r.message, "say": r.say or "", "source": r.source}
                    for r in note.remarks],
        "trail": list(note.trail), "not_documented": note.not_documented,
        "sources": list(note.sources),
        "norms": [f"{title}: {norm}" for title, norm in note.norms],
    }


def _paragraphs(note: Document, mark: str) -> list[dict[str, Any]]:
    made = []
    for paragraph in note.paragraphs:
        runs: list[dict[str, str]] = []
        for each in paragraph.sentences:
            if each.text:
                runs.append({"text": each.text, "mark": " ".join(mark.format_map({"reason": r}) for r in each.confirm)})
        entries = dict.fromkeys(e for each in paragraph.sentences for e in each.entries)
        traced = [note.evidence.get(entry, entry) for entry in entries] if note.trace else []
        made.append({"title": paragraph.title, "runs": runs, "trace": traced})
    return made
