"""From what the recogniser said to the words of an utterance: hesitations and words made of noise are taken out."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from typing import Protocol

from listener.settings import STANDARD, Settings
from parser.transcript import Word

Words = tuple[Word, ...]

_SURE = 0.95
_SHORTEST_S, _LONGEST_S = 0.08, 1.0
_NO_WORD_S = 2.0
_REMEMBERED = 200
_NUMBERS = frozenset([
    "half", "zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "fifteen", "twenty", "thirty", "forty", "fifty",
])


class Restore(Protocol):
    """Turns respelled sequences ("brew ease") back into the words they stand for ("bruits")."""

    def restore(self, words: Words) -> Words:
        """Words with ``heard`` kept; times may be None (partial results)."""
        ...


@dataclass(slots=True)
class Dropped:
    """What was taken out of the text: how many, and the last of them."""

    fillers: int = 0
    noise: int = 0
    last: deque[Word] = field(default_factory=lambda: deque(maxlen=_REMEMBERED))


def tidy(words: Words, dropped: Dropped, restore: Restore | None = None, settings: Settings = STANDARD) -> Words:
    """The words of one utterance as text; empty when nothing but noise or hesitation was in it."""
    if restore is not None:
        words = restore.restore(words)
    if made_of_noise(words, settings):
        dropped.noise += 1
        dropped.last.extend(words)
        return ()
    return without_fillers(words, dropped, settings)


def made_of_noise(words: Words, settings: Settings = STANDARD) -> bool:
    """Whether an utterance is a lone word that was probably never said.

    A known noise word, unless it is sure and as long as a word is; or any word drawn out for seconds.
    """
    if len(words) != 1:
        return False
    word = words[0]
    length = (word.end or 0.0) - (word.start or 0.0)
    if length > _NO_WORD_S:
        return True
    unsure = (word.confidence or 0.0) < _SURE or not _SHORTEST_S <= length <= _LONGEST_S
    return word.text in settings.noise and unsure


def without_fillers(words: Words, dropped: Dropped, settings: Settings = STANDARD) -> Words:
    """The words without hesitations; each hesitation is kept in ``heard`` of the word after it, else before it.

    "mm" after a number stays: it may be millimetres.
    """
    kept: list[Word] = []
    waiting: list[str] = []
    for at, word in enumerate(words):
        if word.text in settings.fillers and not (word.text == "mm" and at and words[at - 1].text in _NUMBERS):
            dropped.fillers += 1
            dropped.last.append(word)
            waiting.append(word.heard)
        else:
            kept.append(replace(word, heard=" ".join([*waiting, word.heard])) if waiting else word)
            waiting = []
    if waiting and kept:
        kept[-1] = replace(kept[-1], heard=" ".join([kept[-1].heard, *waiting]))
    return tuple(kept)
