"""Every format: what must be in it, that it is well formed, and that hostile text stays text."""

from __future__ import annotations

import csv
import html
import html.parser
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

import parser.note
from lexicon import load
from parser.citing import keys_of
from parser.note import FORMATS, MissingLibrary, bundle, write
from parser.note.document import Style, document
from parser.note.drawings import gauges, gauges_svg, strip_svg
from parser.note.table import safe
from parser.record import Record
from tests.parser.note.runs import MOMENT, dictated, sample

STYLE = Style(moment=MOMENT)
HOSTILE = '=HYPERLINK("x") <script>alert(1)</script> & #set page() *bold* \u05d0\u05d1 \\'


def hostile() -> Record:
    """A record whose words, marks and source try to be markup and formulas."""
    record = dictated("edema of the left ankle\nblood pressure one eighteen over seventy six")
    regions = []
    for region in record.regions:
        entries = tuple(
            e.model_copy(update={"confirm": HOSTILE, "evidence": e.evidence.model_copy(update={"text": HOSTILE})})
            for e in region.entries
        )
        regions.append(region.model_copy(update={"entries": entries}))
    run = record.run.model_copy(update={"source": HOSTILE})
    return record.model_copy(update={"regions": tuple(regions), "run": run})


def text_of(record: Record, format_: str, **style: Any) -> str:
    made = write(record, load(), format_, Style(moment=MOMENT, **style))
    assert isinstance(made, str)
    return made


def bytes_of(record: Record, format_: str, **style: Any) -> bytes:
    made = write(record, load(), format_, Style(moment=MOMENT, **style))
    assert isinstance(made, bytes)
    return made


@pytest.mark.parametrize("format_", FORMATS)
def test_each_format_writes_a_short_a_long_and_an_empty_run(format_: str) -> None:
    for record in (sample("hurried"), dictated("skin warm"), dictated("good morning")):
        made = write(record, load(), format_, STYLE)
        assert isinstance(made, str) == FORMATS[format_].text
        assert len(made) > 100


def test_the_page_has_its_parts_in_order() -> None:
    page = text_of(sample("hurried"), "text")
    parts = [
        "STATIONS, CROWN TO SOLE",
        "LOOK AT FIRST",
        "NOTE\n",
        "CORRECTIONS",
        "NOT DOCUMENTED",
        "SIMULATION",
        "COMPUTED",
        "not a medical device",
    ]
    places = [page.index(part) for part in parts]
    assert places == sorted(places)
    assert max(map(len, page.splitlines())) <= 88


@pytest.mark.parametrize("format_", ["text", "markdown", "html"])
def test_every_source_that_is_named_is_cited_in_full(format_: str) -> None:
    record = sample("hurried")
    named = {key for remark in record.remarks for key in keys_of(remark.source) if key in load().sources}
    assert named
    page = re.sub(r"\s+", " ", text_of(record, format_))
    for key in named:
        title = load().sources[key].citation.split(".")[0]
        assert f"{key}: {title}" in html.unescape(page).replace("\\", "")


def test_a_trace_names_the_words_under_every_sentence() -> None:
    page = text_of(sample("hurried"), "text", trace=True)
    assert '(line 2): "blood pressure one sixty eight over ninety four"' in page


def test_the_trail_shows_what_was_withdrawn() -> None:
    assert "oriented times three" in text_of(sample("hurried"), "text")


def test_json_round_trips_to_the_same_documents() -> None:
    record = sample("complete")
    again = Record.model_validate_json(text_of(record, "json"))
    assert again == record
    assert text_of(again, "markdown") == text_of(record, "markdown")


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_a_cell_never_begins_a_formula(cell: str) -> None:
    """Characters that spreadsheets compute from: OWASP, CSV injection (from memory)."""
    assert safe(cell).startswith("'")
    assert safe("2+ edema") == "2+ edema"


def test_csv_has_every_entry_and_no_formula() -> None:
    rows = list(csv.DictReader(io.StringIO(text_of(hostile(), "csv"), newline="")))
    assert [row["concept"] for row in rows] == [e.concept for r in hostile().regions for e in r.entries]
    assert not [cell for row in rows for cell in row.values() if cell.startswith(("=", "+", "-", "@"))]


def test_several_runs_of_csv_share_one_heading() -> None:
    page = text_of(dictated("skin warm"), "csv")
    both = bundle([page, page], "csv")
    assert isinstance(both, str)
    assert both.count("concept,label") == 1
    assert len(both.splitlines()) == 2 * len(page.splitlines()) - 1


def test_a_format_of_one_run_refuses_several() -> None:
    with pytest.raises(ValueError, match="pdf holds one run"):
        bundle([b"a", b"b"], "pdf")


class Tags(html.parser.HTMLParser):
    """Collects tags and anchors of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.anchors: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.anchors += [value or "" for name, value in attrs if name == "data-entries"]
        assert not [name for name, value in attrs if name.startswith("on") or name in ("src", "href")]


def test_html_is_one_page_with_anchors_and_nothing_active() -> None:
    for record in (sample("complete"), hostile()):
        page = Tags()
        page.feed(text_of(record, "html"))
        assert "script" not in page.tags
        assert page.tags.count("h1") == 1
        known = {e.id for r in record.regions for e in r.entries}
        assert page.anchors
        assert {entry for anchor in page.anchors for entry in anchor.split()} <= known


def test_markdown_escapes_what_would_be_markup() -> None:
    page = text_of(hostile(), "markdown")
    assert "\\<script\\>" in page
    assert "<script>" not in page


def test_drawings_are_well_formed_and_say_in_words_what_they_show() -> None:
    record = sample("hurried")
    for svg in (strip_svg(document(record, load()).strip), gauges_svg(gauges(record, load()))):
        root = ElementTree.fromstring(svg)
        assert root[0].text
    assert {g.name for g in gauges(record, load())} >= {"heart rate", "respiratory rate", "oxygen saturation"}


def test_word_has_headings_a_repeating_table_head_and_page_numbers() -> None:
    made = bytes_of(hostile(), "docx")
    with zipfile.ZipFile(io.BytesIO(made)) as archive:
        body, header = archive.read("word/document.xml").decode(), archive.read("word/header1.xml").decode()
    ElementTree.fromstring(body)
    assert 'w:val="Heading1"' in body
    assert 'w:val="Heading2"' in body
    assert "<w:tblHeader/>" in body
    assert "PAGE" in header
    assert "&lt;script&gt;" in body


def test_word_takes_the_styles_of_a_template_and_refuses_what_is_none(tmp_path: Path) -> None:
    from docx import Document

    own = Document()
    own.styles["Heading 1"].font.name = "Garamond"
    own.add_paragraph("text of the template")
    own.save(str(tmp_path / "own.docx"))
    made = bytes_of(dictated("skin warm"), "docx", template=(tmp_path / "own.docx").read_bytes())
    again = Document(io.BytesIO(made))
    assert again.styles["Heading 1"].font.name == "Garamond"
    assert "text of the template" not in "\n".join(p.text for p in again.paragraphs)
    with pytest.raises(ValueError, match="no Word document"):
        bytes_of(dictated("skin warm"), "docx", template=b"nonsense")


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_pdf_is_tagged_titled_and_stable(paper: str) -> None:
    """PDF/UA-1 (ISO 14289-1) is checked by typst itself as it writes: headings, title, alternative texts."""
    made = bytes_of(hostile(), "pdf", paper=paper)
    assert made.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in made
    assert b"/MarkInfo" in made
    assert made == bytes_of(hostile(), "pdf", paper=paper)
    sizes = {tuple(map(float, box)) for box in re.findall(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", made)}
    assert all(abs(width - {"a4": 595.28, "us-letter": 612}[paper]) < 1 for width, _ in sizes)


def test_a_missing_library_is_told_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    def absent(name: str) -> Any:
        raise ModuleNotFoundError("no", name="typst")

    monkeypatch.setattr(parser.note, "import_module", absent)
    with pytest.raises(MissingLibrary, match="needs typst, which is not installed"):
        write(dictated("skin warm"), load(), "pdf", STYLE)


def test_json_lines_hold_one_run_a_line() -> None:
    page = text_of(dictated("skin warm"), "json")
    both = bundle([page, page], "json")
    assert isinstance(both, str)
    assert [json.loads(line)["schema"] for line in both.splitlines()] == ["crownsole-record/1"] * 2
