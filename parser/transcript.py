"""Words, utterances and transcripts: what hearing hands to understanding."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b-\u200f\u2028-\u202e\u2060\ufeff]")
_CHUNK = re.compile(r"\S+")
_EDGE = " \t,;:.!?()[]{}\"“”"

#: A line of running text longer than this many words is cut, so that no single
#: piece of work grows with the length of the input.
LONGEST_UTTERANCE = 2000


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a run.

    Times are seconds from the start of the run and None for text input. ``heard`` is what the
    recogniser said before any repair. ``confidence`` is 0..1 or None. ``chars`` is the place
    ``[first, last)`` in :attr:`Transcript.text`. ``doubt`` says in words why the word is
    uncertain, or is None.
    """

    text: str
    heard: str
    start: float | None = None
    end: float | None = None
    confidence: float | None = None
    doubt: str | None = None
    chars: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True)
class Utterance:
    """What lies between two pauses (speech) or on one line (text).

    ``number`` counts from 1. ``text`` is the utterance as written, punctuation included;
    ``offset`` is where it begins in :attr:`Transcript.text`; ``first_word`` is the index of its
    first word in the whole run.
    """

    number: int
    words: tuple[Word, ...]
    text: str
    offset: int = 0
    first_word: int = 0


@dataclass(frozen=True, slots=True)
class Transcript:
    """All utterances of one run, in order, and where they came from."""

    utterances: tuple[Utterance, ...]
    source: str
    duration_s: float | None = None
    remarks: tuple[str, ...] = field(default=())

    @property
    def text(self) -> str:
        """The utterances joined by line feeds: the text that every ``chars`` refers to."""
        return "\n".join(utterance.text for utterance in self.utterances)

    @property
    def words(self) -> tuple[Word, ...]:
        return tuple(word for utterance in self.utterances for word in utterance.words)


def clean(text: str) -> str:
    """Drop byte-order marks and control characters, and make every line end a line feed."""
    return _UNPRINTABLE.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n"))


def utterances_of_text(text: str) -> Iterator[Utterance]:
    """Cut text into utterances, one a line; a very long line is cut at a sentence end or a space."""
    offset = first_word = number = 0
    for line in clean(text).split("\n"):
        for piece in _pieces(line):
            if not piece.strip():
                continue
            number += 1
            words = tuple(_words_of(piece, offset))
            yield Utterance(number, words, piece, offset, first_word)
            offset += len(piece) + 1
            first_word += len(words)


def transcript_of_text(text: str, source: str) -> Transcript:
    """A transcript of typed or pasted text; its words carry no times."""
    return Transcript(tuple(utterances_of_text(text)), source)


def transcript_of_words(runs: Iterable[Iterable[Word]], source: str, duration_s: float | None = None) -> Transcript:
    """A transcript of recognised words, one inner sequence an utterance; places are filled in."""
    utterances: list[Utterance] = []
    offset = first_word = 0
    for words in runs:
        utterance = utterance_of_words(tuple(words), len(utterances) + 1, offset, first_word)
        if not utterance.words:
            continue
        utterances.append(utterance)
        offset += len(utterance.text) + 1
        first_word += len(utterance.words)
    return Transcript(tuple(utterances), source, duration_s)


def utterance_of_words(words: tuple[Word, ...], number: int, offset: int, first_word: int) -> Utterance:
    """Place recognised words in the text of the run."""
    placed = []
    at = offset
    for word in words:
        placed.append(replace(word, chars=(at, at + len(word.text))))
        at += len(word.text) + 1
    return Utterance(number, tuple(placed), " ".join(word.text for word in placed), offset, first_word)


def _words_of(piece: str, offset: int) -> Iterator[Word]:
    for match in _CHUNK.finditer(piece):
        bare = match.group().strip(_EDGE)
        if bare:
            start = offset + match.start() + match.group().index(bare)
            yield Word(bare, bare, chars=(start, start + len(bare)))


def _pieces(line: str) -> Iterator[str]:
    chunks = list(_CHUNK.finditer(line))
    first = 0
    while len(chunks) - first > LONGEST_UTTERANCE:
        last = first + LONGEST_UTTERANCE
        stop = next((i for i in range(last, first + LONGEST_UTTERANCE // 2, -1)
                     if chunks[i - 1].group().endswith((".", "!", "?"))), last)
        yield line[chunks[first].start() : chunks[stop - 1].end()]
        first = stop
    yield line[chunks[first].start() :].rstrip() if chunks else ""
