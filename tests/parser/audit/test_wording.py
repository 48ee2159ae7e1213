"""The wording of all rules: no diagnosis, no treatment, no blame; local policy decides."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lexicon.schema.base import Entry
from parser.audit import audit
from parser.debrief import CAUTION, debrief
from parser.pipeline import understand_all
from parser.structurer import file
from parser.transcript import transcript_of_text
from tests.parser.audit.building import FLAT, SOFT, SOUNDS, apical, bp, lexicon, pulse, run, said, vital
from tests.parser.audit.reviewer import ALLOWED, FORBIDDEN

_FILES = ("checklist", "order", "timing", "sides", "details", "contradictions", "cautions", "ranges", "scores")
_SPOKEN = ("why", "say", "message", "title", "label", "text", "note", "below", "above", "usual_say")


def texts(value: Any, where: str) -> Iterator[tuple[str, str]]:
    """Every text of a rule file that a learner can read, with its place."""
    if isinstance(value, Entry):
        here = f"{where}.{getattr(value, 'id', '')}"
        for field in type(value).model_fields:
            content = getattr(value, field)
            if isinstance(content, str) and field in _SPOKEN:
                yield f"{here}.{field}", content
            elif isinstance(content, (Entry, tuple)):
                yield from texts(content, here)
    elif isinstance(value, tuple):
        for item in value:
            yield from texts(item, where)


def offences(text: str) -> list[str]:
    bare = text.lower()
    for phrase in ALLOWED:
        bare = bare.replace(phrase, "")
    return [f"{why}: {p}" for why, patterns in FORBIDDEN.items() for p in patterns if re.search(p, bare)]


@pytest.mark.parametrize("name", _FILES)
def test_no_rule_says_what_a_reviewer_forbids(name: str) -> None:
    found = [(where, text, offences(text)) for where, text in texts(lexicon().files[name], name)]
    assert found
    assert not [entry for entry in found if entry[2]]


def test_every_caution_speaks_of_local_policy() -> None:
    callouts: Any = lexicon().files["cautions"]
    assert {callout.id for callout in callouts.callouts} == {"note", "attention", "urgent"}
    assert all("By local policy" in callout.message for callout in callouts.callouts)


def test_rows_that_ask_for_someone_speak_of_local_policy() -> None:
    scores: Any = lexicon().files["scores"]
    rows = [row for table in scores.tables for row in table.rows if row.text]
    assert rows
    assert all("local policy decides" in row.text for row in rows)


def test_the_reviewers_table_can_find_something() -> None:
    assert offences("The patient has pneumonia, give antibiotics.")
    assert not offences("A finding to report, no diagnosis.")


WRONGS = (
    SOFT,
    SOUNDS,
    bp("188/130"),
    pulse("left"),
    apical(0),
    vital("spo2", "85", "%"),
    vital("temperature", "39.6", "Cel"),
    said("head_face", "facial_droop"),
    said("back_sacrum_lines", "nonblanching_erythema", site="sacrum"),
)


def test_remarks_of_a_run_full_of_wrongs_pass_the_reviewer() -> None:
    for remark in audit(run(*WRONGS), lexicon()):
        assert not offences(f"{remark.message} {remark.say}"), remark


def test_the_words_of_the_note_pass_the_reviewer() -> None:
    """The frames in which the note tells findings and asks for someone."""
    templates: Any = lexicon().files["note"]
    found = [template.text for template in templates.templates]
    assert len(found) > 20
    assert not [text for text in found if offences(text)]


@pytest.mark.parametrize("name", ["complete_run", "hurried_run"])
def test_a_sample_passes_the_reviewer(name: str) -> None:
    """What the tool itself says of a run; what the learner said is quoted as it was."""
    path = Path(__file__).parents[3] / "samples" / f"{name}.txt"
    spoken = transcript_of_text(path.read_text(encoding="utf-8"), path.name)
    record = file(understand_all(spoken), spoken, lexicon(), run_id=name)
    assert record.remarks or name == "complete_run"
    for remark in record.remarks:
        own = re.sub("“[^”]*”", "", f"{remark.message} {remark.say}")
        assert not offences(own), remark


def with_remarks(*entries: Any) -> Any:
    record = run(*entries)
    return record.model_copy(update={"remarks": audit(record, lexicon())})


def test_the_debrief_shows_seven_first_then_the_rest() -> None:
    record = with_remarks(*WRONGS)
    text = debrief(record, lexicon())
    assert (
        text.index("STATIONS, CROWN TO SOLE") < text.index("LOOK AT FIRST (7 remarks") < text.index("ALL OTHER REMARKS")
    )
    assert text.index("ALL OTHER REMARKS") < text.index("SOURCES") < text.index("A practice and documentation aid")
    assert text.count("Source: ") >= len(record.remarks)
    assert max(len(line) for line in text.splitlines()) <= 88


def test_the_debrief_ranks_what_is_urgent_first() -> None:
    remarks = with_remarks(*WRONGS).remarks
    assert remarks[0].severity == "urgent"
    assert [remark.weight for remark in remarks] == sorted((remark.weight for remark in remarks), reverse=True)


def test_the_debrief_of_an_empty_run_is_a_short_kind_page() -> None:
    text = debrief(with_remarks(), lexicon())
    assert len(text.splitlines()) <= 8
    assert "Nothing is wrong with a quiet first try" in text
    assert CAUTION.split(";", maxsplit=1)[0] in text.replace("\n", " ")


def test_every_source_named_is_cited_in_full() -> None:
    text = debrief(with_remarks(*WRONGS, FLAT, SOFT), lexicon()).replace("\n    ", " ")
    assert "RRTUS: Rapid response trigger set" in text
