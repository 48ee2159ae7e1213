"""Checks that a note says what its record holds: reads every sentence back and compares.

The reader knows the headings, as every reader of a note does; all else comes from the sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from lexicon import Lexicon
from parser.note.document import paragraphs
from parser.note.exceptions import exceptions
from parser.note.facts import Fact, facts_of, standing
from parser.note.narrative import Paragraph
from parser.note.reading import Reader
from parser.record import Entry, Record


@dataclass(frozen=True, slots=True)
class Difference:
    """A fact of the record that the note does not say (lost), or one it says that was never said (added)."""

    kind: Literal["lost", "added"]
    fact: Fact
    entries: tuple[str, ...]
    sentence: str

    def __str__(self) -> str:
        fact = self.fact
        parts = [fact.concept, fact.status, fact.side, fact.site, fact.value, fact.unit, *fact.taken]
        words = ", ".join(part for part in parts if part)
        if self.kind == "lost":
            return f"not read back: {words} ({', '.join(self.entries)})"
        return f"read but never said: {words}, in \"{self.sentence}\""


@dataclass(frozen=True, slots=True)
class Fidelity:
    """How many facts a note should say, how many read back, and every difference."""

    facts: int
    kept: int
    differences: tuple[Difference, ...]

    @property
    def share(self) -> float:
        return self.kept / self.facts if self.facts else 1.0


def check(record: Record, lexicon: Lexicon, wording: str = "narrative") -> tuple[Difference, ...]:
    """Every difference between a note and its record; empty when it says all, and nothing else."""
    return compare(record, lexicon, paragraphs(record, lexicon, wording), wording).differences


def compare(record: Record, lexicon: Lexicon, note: Sequence[Paragraph], wording: str = "narrative") -> Fidelity:
    """Read paragraphs of a wording back and compare them with the entries they should say."""
    wanted = facts_of(entry for _, entry in _wanted(record, lexicon, wording))
    allowed = facts_of(entry for _, entry in standing(record))
    found: dict[Fact, str] = {}
    for text, facts in _read(note, lexicon):
        for fact in facts:
            found.setdefault(fact, text)
    lost = [Difference("lost", fact, tuple(e.id for e in entries), "")
            for fact, entries in wanted.items() if fact not in found]
    added = [Difference("added", fact, (), text) for fact, text in found.items() if fact not in allowed]
    return Fidelity(len(wanted), len(wanted) - len(lost), (*lost, *added))


def _wanted(record: Record, lexicon: Lexicon, wording: str) -> Iterable[tuple[str, Entry]]:
    return standing(record) if wording == "narrative" else exceptions(record, lexicon)


def _read(note: Sequence[Paragraph], lexicon: Lexicon) -> Iterable[tuple[str, tuple[Fact, ...]]]:
    reader = Reader(lexicon.packs)
    for paragraph in note:
        reader.enter(paragraph.region)
        for sentence in paragraph.sentences:
            if sentence.heading:
                reader.enter(sentence.heading)
            if sentence.text and not sentence.told:
                yield sentence.text, reader.take(sentence.text)
