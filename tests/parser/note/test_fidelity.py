"""A note says what its record holds: our own parser reads it back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lexicon import load
from parser.note.document import WORDINGS, paragraphs
from parser.note.facts import facts_of, standing
from parser.note.fidelity import check, compare
from parser.note.narrative import Sentence
from tests.parser.note.runs import NAMES, dictated, invented_run, sample

RUNS = 8


@pytest.mark.parametrize("wording", WORDINGS)
def test_invented_runs_come_back(wording: str) -> None:
    """At least .99 of the facts; tests/bench/note.py measures 60 runs."""
    results = [
        compare(run, load(), paragraphs(run, load(), wording), wording) for run in map(invented_run, range(RUNS))
    ]
    kept, facts = sum(each.kept for each in results), sum(each.facts for each in results)
    assert facts > 200
    assert kept / facts >= 0.99


@pytest.mark.parametrize("name", NAMES)
def test_the_samples_come_back(name: str) -> None:
    lost = [d for d in check(sample(name), load()) if d.kind == "lost"]
    assert len(lost) <= len(facts_of(e for _, e in standing(sample(name)))) // 100


def test_a_changed_value_is_found() -> None:
    """The check can fail: another value, another side, a sentence left out, one put in."""
    record = dictated("blood pressure one eighteen over seventy six\nedema of the left ankle")
    note = list(paragraphs(record, load(), "narrative"))
    assert not compare(record, load(), note).differences
    for old, new in (("118/76", "181/76"), ("left", "right")):
        changed = [
            replace(p, sentences=tuple(replace(s, text=s.text.replace(old, new)) for s in p.sentences)) for p in note
        ]
        kinds = {d.kind for d in compare(record, load(), changed).differences}
        assert kinds == {"lost", "added"}
    assert {d.kind for d in compare(record, load(), note[:1]).differences} == {"lost"}
    more = [replace(note[0], sentences=(*note[0].sentences, Sentence("Heart rate 40 per minute.", ())))]
    assert any(d.kind == "added" for d in compare(record, load(), more).differences)


def test_every_sentence_names_entries_that_stand() -> None:
    record = sample("complete")
    known = {entry.id for _, entry in standing(record)}
    for paragraph in paragraphs(record, load(), "narrative"):
        for each in paragraph.sentences:
            assert each.entries
            assert set(each.entries) <= known


def test_every_standing_entry_is_in_the_note_once_or_with_its_like() -> None:
    record = sample("complete")
    said = {e for p in paragraphs(record, load(), "narrative") for s in p.sentences for e in s.entries}
    assert {entry.id for _, entry in standing(record)} <= said
