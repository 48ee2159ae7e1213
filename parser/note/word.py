"""The note as a Word document: real headings and tables, so that a school's template can restyle it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import BytesIO
from typing import Any

from docx import Document as new_document
from docx.document import Document as WordDocument
from docx.enum.text import WD_COLOR_INDEX
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Pt

from lexicon import Lexicon
from parser.conversion import shown
from parser.note.document import Document, Style, document
from parser.note.grammar import grammar_of
from parser.note.narrative import Paragraph
from parser.record import Record

#: Light enough for black figures to stay readable; the words beside say the same.
_FILLS = {"documented": "CFE3DD", "partial": "F3E3B8", "missing": "FFFFFF"}
_WORDS = {"documented": "documented", "partial": "partly", "missing": "not documented"}
#: Remarks shown before the note; the others follow it.
_FIRST = 7


def write(record: Record, lexicon: Lexicon, style: Style) -> bytes:
    """The document as bytes. Raises ValueError when the template is no Word file."""
    note = document(record, lexicon, style)
    word = _start(style.template)
    _properties(word, note)
    _head(word, note)
    _remarks(word, "What needs attention", note, slice(0, _FIRST), 1)
    _note(word, note, grammar_of(lexicon).templates["confirm"])
    _values(word, note)
    _list(word, "Norms of this note by exception", [f"{name}: {norm}" for name, norm in note.norms])
    _list(word, "Corrections", note.trail)
    _list(word, "Not documented", [note.not_documented] if note.not_documented else [])
    _remarks(word, "All other remarks", note, slice(_FIRST, None), _FIRST + 1)
    _list(word, "Sources", note.sources)
    _small(word.add_paragraph(), " ".join(note.cautions))
    out = BytesIO()
    word.save(out)
    return out.getvalue()


def _start(template: bytes | None) -> WordDocument:
    if template is None:
        word = new_document()
        word.styles["Normal"].font.name = "Calibri"
        word.styles["Normal"].font.size = Pt(10.5)
        return word
    try:
        word = new_document(BytesIO(template))
    except Exception:
        raise ValueError("the template is no Word document (.docx)") from None
    for element in list(word.element.body):
        if element.tag != qn("w:sectPr"):
            word.element.body.remove(element)
    return word


def _properties(word: WordDocument, note: Document) -> None:
    word.core_properties.title = note.title
    word.core_properties.author = "Crownsole"
    word.core_properties.comments = note.cautions[1]
    section = word.sections[0]
    header = section.header.paragraphs[0]
    header.text = f"{note.title}, run {note.run}. {note.cautions[0]} Page "
    _field(header, "PAGE")


def _field(paragraph: Any, code: str) -> None:
    """A field that Word fills in (a page number)."""
    run = paragraph.add_run()
    for kind, text in (("begin", None), (None, code), ("end", None)):
        element = OxmlElement("w:instrText" if text else "w:fldChar")
        if text:
            element.text = text
        else:
            element.set(qn("w:fldCharType"), kind)
        run._r.append(element)


def _head(word: WordDocument, note: Document) -> None:
    word.add_heading(note.title, 0)
    _small(word.add_paragraph(), " · ".join(f"{name}: {value}" for name, value in note.facts))
    word.add_paragraph().add_run(note.cautions[0]).bold = True
    word.add_heading("Stations, crown to sole", 1)
    rows = [(str(n), s.title, _WORDS[s.coverage], "; ".join(s.missing) if s.coverage == "partial" else "")
            for n, s in enumerate(note.strip, 1)]
    table = _table(word, ("No.", "Station", "Coverage", "Not heard"), rows, (8, 36, 20, 36))
    for station, row in zip(note.strip, table.rows[1:], strict=True):
        _shade(row.cells[0], _FILLS[station.coverage])


def _shade(cell: Any, fill: str) -> None:
    shade = OxmlElement("w:shd")
    for name, value in (("val", "clear"), ("color", "auto"), ("fill", fill)):
        shade.set(qn(f"w:{name}"), value)
    cell._tc.get_or_add_tcPr().append(shade)


def _remarks(word: WordDocument, title: str, note: Document, part: slice, start: int) -> None:
    remarks = note.remarks[part]
    if remarks:
        word.add_heading(title, 1)
    for number, remark in enumerate(remarks, start):
        paragraph = word.add_paragraph(f"{number}. ")
        paragraph.add_run(f"{remark.severity} ").bold = True
        paragraph.add_run(remark.message)
        more = [f"Next time: {remark.say}"] if remark.say else []
        _small(paragraph, "\n" + "\n".join((*more, remark.source)))


def _note(word: WordDocument, note: Document, mark: str) -> None:
    word.add_heading(note.heading, 1)
    if not note.paragraphs:
        word.add_paragraph("Nothing was documented.")
    for paragraph in note.paragraphs:
        word.add_heading(paragraph.title, 2)
        _paragraph(word, paragraph, note, mark)


def _paragraph(word: WordDocument, paragraph: Paragraph, note: Document, mark: str) -> None:
    made = word.add_paragraph()
    for each in paragraph.sentences:
        if each.text:
            made.add_run(each.text + " ")
        for reason in each.confirm:
            made.add_run(mark.format_map({"reason": reason})).font.highlight_color = WD_COLOR_INDEX.YELLOW
            made.add_run(" ")
    if note.trace:
        entries = dict.fromkeys(e for each in paragraph.sentences for e in each.entries)
        _small(made, "".join(f"\n{note.evidence.get(entry, entry)}" for entry in entries))


def _values(word: WordDocument, note: Document) -> None:
    if note.rows:
        word.add_heading("Vital signs and scales", 1)
        timed = any(row.time for row in note.rows)
        heads = ("What", "Value", "Also", "How", *(("Time",) if timed else ()))
        _table(word, heads, [(r.name, r.value, r.also, r.how, r.time)[: len(heads)] for r in note.rows],
               (28, 18, 14, 30, 10)[: len(heads)])
    if note.computed:
        word.add_heading("Computed", 1)
        _table(word, ("What", "Value", "Formula", "Source"),
               [(c.label, shown(c.value or 0, c.unit), c.formula, c.source) for c in note.computed], (22, 16, 32, 30))


def _table(word: WordDocument, heads: Sequence[str], rows: Iterable[Sequence[str]], shares: Sequence[int]) -> Any:
    """A table whose heading row repeats on every page and whose rows do not break; `shares` of the width a column."""
    table = word.add_table(rows=1, cols=len(heads))
    table.autofit = False
    if "Table Grid" in [style.name for style in word.styles]:
        table.style = "Table Grid"
    for cell, head in zip(table.rows[0].cells, heads, strict=True):
        cell.paragraphs[0].add_run(head).bold = True
    for row in rows:
        for cell, text in zip(table.add_row().cells, row, strict=True):
            cell.text = text
    page = word.sections[0]
    width = (page.page_width or 0) - (page.left_margin or 0) - (page.right_margin or 0)
    for column, share in zip(table.columns, shares, strict=True):
        column.width = width * share // sum(shares)
    for number, row in enumerate(table.rows):
        for cell, column in zip(row.cells, table.columns, strict=True):
            cell.width = column.width  # readers differ: some go by the column, some by the cell
        properties = row._tr.get_or_add_trPr()
        properties.append(OxmlElement("w:cantSplit"))
        if number == 0:
            properties.append(OxmlElement("w:tblHeader"))
    return table


def _list(word: WordDocument, title: str, items: Sequence[str]) -> None:
    if items:
        word.add_heading(title, 1)
    for item in items:
        word.add_paragraph(item)


def _small(paragraph: Any, text: str) -> None:
    run = paragraph.add_run(text)
    run.font.size = Pt(8.5)
