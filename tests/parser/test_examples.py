"""Every example in the lexicon is understood as it says: "sentence = status, site, side, value"."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import pytest

from lexicon import load
from parser.pipeline import understand_all
from parser.statements import AND, STATUSES, Statement
from parser.transcript import transcript_of_text


class Example(NamedTuple):
    concept: str
    sentence: str
    status: str
    site: str
    side: str
    value: str


def examples() -> Iterator[Example]:
    for concept in load().concepts.values():
        for line in concept.examples:
            sentence, _, expected = line.partition("=")
            parts = [part.strip() for part in expected.split(",")] + [""] * 4
            yield Example(concept.id, sentence.strip(), *parts[:4])


def statements(sentence: str) -> list[Statement]:
    return [s for one in understand_all(transcript_of_text(sentence, "example")) for s in one.statements]


def fits(statement: Statement, example: Example) -> bool:
    sites = (statement.site or "").split(AND)
    value = statement.value.text if statement.value else ""
    return (statement.concept == example.concept and statement.status == example.status
            and (not example.site or example.site in sites) and (not example.side or statement.side == example.side)
            and (not example.value or value == example.value))


@pytest.mark.parametrize("example", list(examples()), ids=lambda e: f"{e.concept}:{e.sentence}")
def test_example_is_understood(example: Example) -> None:
    """The concept is found with the status, and where given the site, side and value, of the example."""
    assert example.status in STATUSES
    found = statements(example.sentence)
    assert any(fits(statement, example) for statement in found), [
        (s.concept, s.status, s.site, s.side, s.value and s.value.text) for s in found
    ]


def test_every_concept_has_an_example() -> None:
    assert [concept.id for concept in load().concepts.values() if not concept.examples] == []
