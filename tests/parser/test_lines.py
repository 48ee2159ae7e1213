"""Lines of dictation in several hands, read whole; and that a sentence changes nothing before it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parser.pipeline import understand_all
from parser.transcript import transcript_of_text
from tests.parser.lines import Line, lines, wrongs

LINES = tuple(lines())
TEXTS = tuple(line.text.rstrip(".") + "." for line in LINES)


@pytest.mark.parametrize("line", LINES, ids=lambda line: f"{line.file}-{line.number}")
def test_a_line_gives_its_statements_and_no_more(line: Line) -> None:
    if line.fault:
        pytest.xfail("a known fault") if wrongs(line) else pytest.fail("mended: take its ~ away")
    assert wrongs(line) == []


def read(text: str) -> list[tuple[object, ...]]:
    """What was stated, each with its place in the text."""
    return [
        (s.evidence.chars, s.concept, s.status, s.region, s.site, s.side, s.value, s.doubts)
        for understood in understand_all(transcript_of_text(text, "lines"))
        for s in understood.statements
    ]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(TEXTS), st.sampled_from(TEXTS))
def test_a_sentence_changes_nothing_before_it(first: str, second: str) -> None:
    before = [told for told in read(f"{first} {second}") if told[0][0] < len(first)]  # type: ignore[index]
    assert before == read(first)
