"""Turns the spellings that stand for trade words back into these words, with their times."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from parser.transcript import Word


@dataclass(frozen=True)
class Way:
    """``word`` may be heard as ``pieces``.

    A spelling that people might say for its own sake ("pick" for "picc") counts only in the company
    that the trade word keeps: after one of ``after`` or before one of ``before``. None: anywhere.
    """

    word: str
    pieces: tuple[str, ...]
    after: frozenset[str] | None = None
    before: frozenset[str] | None = None

    def fits(self, previous: str, following: str) -> bool:
        if self.after is None and self.before is None:
            return True
        return previous in (self.after or ()) or following in (self.before or ())


class Restorer:
    """Gives heard words back as the words they stand for; the longest spelling at a place wins."""

    def __init__(self, ways: Iterable[Way]) -> None:
        self.ways = tuple(ways)
        self._by_first: dict[str, list[Way]] = defaultdict(list)
        for way in sorted(self.ways, key=lambda way: (-len(way.pieces), way.word)):
            self._by_first[way.pieces[0]].append(way)

    def restore(self, words: tuple[Word, ...]) -> tuple[Word, ...]:
        """``words`` with every spelling joined to one word: its times are those of the whole, its
        confidence the least of its parts, and ``heard`` keeps what the recogniser said."""
        heard = [word.text for word in words]
        restored: list[Word] = []
        at = 0
        while at < len(words):
            way = self._at(heard, at, restored)
            size = len(way.pieces) if way else 1
            restored.append(_joined(words[at : at + size], way.word) if way else words[at])
            at += size
        return tuple(restored)

    def _at(self, heard: list[str], at: int, restored: list[Word]) -> Way | None:
        for way in self._by_first.get(heard[at], ()):
            end = at + len(way.pieces)
            if tuple(heard[at:end]) == way.pieces:
                previous = restored[-1].text if restored else ""
                if way.fits(previous, heard[end] if end < len(heard) else ""):
                    return way
        return None

    def of_word(self, word: str) -> tuple[Way, ...]:
        """The ways in which ``word`` can be heard; none for a word the recogniser knows itself."""
        return tuple(way for way in self.ways if way.word == word)

    def save(self, path: Path) -> None:
        rows = [[way.word, list(way.pieces), _listed(way.after), _listed(way.before)] for way in self.ways]
        path.write_text(json.dumps(rows, indent=0), encoding="utf-8")

    @classmethod
    def load(cls, path: Path) -> "Restorer":
        """Raises OSError or ValueError when the file is missing or damaged."""
        rows = json.loads(path.read_text(encoding="utf-8"))
        return cls(Way(word, tuple(pieces), _frozen(after), _frozen(before)) for word, pieces, after, before in rows)


def _listed(company: frozenset[str] | None) -> list[str] | None:
    return None if company is None else sorted(company)


def _frozen(company: list[str] | None) -> frozenset[str] | None:
    return None if company is None else frozenset(company)


def _joined(words: tuple[Word, ...], text: str) -> Word:
    confidences = [word.confidence for word in words if word.confidence is not None]
    doubts = [word.doubt for word in words if word.doubt]
    return Word(
        text,
        " ".join(word.heard for word in words),
        words[0].start,
        words[-1].end,
        min(confidences) if confidences else None,
        doubts[0] if doubts else None,
    )
